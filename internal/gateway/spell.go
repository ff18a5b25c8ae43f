package gateway

import (
	"regexp"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/anypb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// spelling turns schema paths (request.constraints.days[1].body_mass) into what the
// caller wrote, or else into JSON names.
type spelling struct {
	root    protoreflect.MessageDescriptor
	written map[string]string
}

// status spells the paths in a status: in its message and in the details that it knows.
func (s spelling) status(st *status.Status) *status.Status {
	p := st.Proto()
	details := make([]proto.Message, len(p.Details))
	fields := map[string]bool{}
	for i, d := range p.Details {
		m, err := d.UnmarshalNew()
		if err != nil {
			continue
		}
		details[i] = m
		switch m := m.(type) {
		case *errdetails.ErrorInfo:
			fields[m.Metadata["field"]] = true
		case *errdetails.BadRequest:
			for _, v := range m.FieldViolations {
				fields[v.Field] = true
			}
		case *errdetails.PreconditionFailure:
			for _, v := range m.Violations {
				fields[v.Subject] = true
			}
		}
	}
	p.Message = s.text(p.Message, fields)
	for i, m := range details {
		switch m := m.(type) {
		case *errdetails.ErrorInfo:
			if f, ok := m.Metadata["field"]; ok {
				m.Metadata["field"] = s.field(f)
			}
		case *errdetails.BadRequest:
			for _, v := range m.FieldViolations {
				v.Field, v.Description = s.field(v.Field), s.text(v.Description, fields)
			}
		case *errdetails.PreconditionFailure:
			for _, v := range m.Violations {
				v.Subject, v.Description = s.field(v.Subject), s.text(v.Description, fields)
			}
		case *errdetails.ResourceInfo:
			m.ResourceName, m.Description = s.field(m.ResourceName), s.text(m.Description, fields)
		case *pb.Relaxations:
			for _, r := range m.Relaxations {
				for _, c := range r.Changes {
					c.Field = s.field(c.Field)
				}
			}
		default:
			continue
		}
		if a, err := anypb.New(m); err == nil {
			p.Details[i] = a
		}
	}
	return status.FromProto(p)
}

var pathForm = regexp.MustCompile(`[A-Za-z_]\w*(?:\[\d+\])*(?:\.[A-Za-z_]\w*(?:\[\d+\])*)*`)

// text spells the paths in a sentence: those of the faults, and others of more than one
// word that the request really has.
func (s spelling) text(t string, fields map[string]bool) string {
	return pathForm.ReplaceAllStringFunc(t, func(word string) string {
		if !fields[word] && !strings.ContainsAny(word, ".[") {
			return word
		}
		if out, ok := s.path(word); ok || fields[word] {
			return out
		}
		return word
	})
}

func (s spelling) field(path string) string {
	out, _ := s.path(path)
	return out
}

// path spells one path as far as the schema knows it, and says whether that is all of
// it. A path may also start below the request's only field.
func (s spelling) path(path string) (string, bool) {
	if out, ok := s.walk(path); ok {
		return out, true
	}
	if f := s.root.Fields(); f.Len() == 1 && f.Get(0).Message() != nil && !strings.HasPrefix(path, string(f.Get(0).Name())) {
		if out, ok := s.walk(string(f.Get(0).Name()) + "." + path); ok {
			_, out, _ = strings.Cut(out, ".")
			return out, true
		}
	}
	out, _ := s.walk(path)
	return out, false
}

func (s spelling) walk(path string) (string, bool) {
	var done, out string // what was walked, in both spellings
	at := s.root
	for rest := path; rest != ""; {
		if at == nil {
			return out + "." + rest, false
		}
		segment, tail, _ := strings.Cut(rest, ".")
		name, index := segment, ""
		if i := strings.IndexByte(segment, '['); i >= 0 {
			name, index = segment[:i], segment[i:]
		}
		f := at.Fields().ByName(protoreflect.Name(name))
		if f == nil {
			return join(out, rest), false
		}
		done = join(done, name)
		if w, ok := s.written[done]; ok {
			out = w
		} else {
			out = join(out, f.JSONName())
		}
		done, out = done+index, out+index
		at, rest = f.Message(), tail
		if at != nil && at.ParentFile().Package() == "google.protobuf" { // names of others, below Struct
			if rest != "" {
				out += "." + rest
			}
			return out, true
		}
	}
	return out, true
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
