package wire

import (
	"regexp"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// time writes a moment, which JSON spells as text.
func (c *checker) time(n *node, path string) {
	quoted := appendText(nil, n.text)
	if n.kind != isText || protojson.Unmarshal(quoted, &timestamppb.Timestamp{}) != nil {
		c.notText(n, path, "a time is needed, such as 2026-01-05T18:30:00Z")
		return
	}
	c.out = append(c.out, quoted...)
}

var (
	maskForm = regexp.MustCompile(`^(\*|[A-Za-z0-9_]+(\.[A-Za-z0-9_]+)*)$`)
	capital  = regexp.MustCompile(`[A-Z]`)
)

// mask keeps a field mask for later: protojson has no "*" and no names as in the schema.
func (c *checker) mask(n *node, path string) {
	m := &fieldmaskpb.FieldMask{}
	if n.kind == isText && n.text != "" {
		for _, p := range strings.Split(n.text, ",") {
			p = strings.TrimSpace(p)
			if !maskForm.MatchString(p) {
				c.notText(n, path, `names of fields with commas between are needed, such as "profile.bodyMass,profile.sex", or "*"`)
				return
			}
			m.Paths = append(m.Paths, capital.ReplaceAllStringFunc(p, func(s string) string { return "_" + strings.ToLower(s) }))
		}
	} else if n.kind != isText {
		c.notText(n, path, `names of fields with commas between are needed, such as "profile.bodyMass,profile.sex", or "*"`)
		return
	}
	if c.masks == nil {
		c.masks = map[string]*fieldmaskpb.FieldMask{}
	}
	c.masks[path] = m
	c.out = append(c.out, `""`...)
}

// setMasks puts the masks into the message. They stand in no list.
func (c *checker) setMasks(into proto.Message) {
	for path, mask := range c.masks {
		m, steps := into.ProtoReflect(), strings.Split(path, ".")
		for i, step := range steps {
			f := m.Descriptor().Fields().ByName(protoreflect.Name(step))
			if i == len(steps)-1 {
				m.Set(f, protoreflect.ValueOfMessage(mask.ProtoReflect()))
				break
			}
			m = m.Mutable(f).Message()
		}
	}
}

func (c *checker) notText(n *node, path, want string) {
	c.out = append(c.out, "null"...)
	got := kindNames[n.kind]
	if n.kind == isText {
		got = strconv.Quote(short(n.text))
	}
	c.add(ReasonType, path, n.line, "is "+got+"; "+want)
}
