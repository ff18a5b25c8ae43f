package apidoc

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strings"
)

//go:embed page.html
var files embed.FS

//go:embed style.css
var style []byte

// Page is one answer.
type Page struct {
	Type string // as Content-Type
	Body []byte
}

// Home is the path of the page with all calls; the others lie below it.
const Home = "/docs"

// Pages makes the pages of a description, by path.
func Pages(openAPI []byte) (map[string]Page, error) {
	var doc document
	if err := json.Unmarshal(openAPI, &doc); err != nil {
		return nil, fmt.Errorf("apidoc: %w", err)
	}
	t, err := template.ParseFS(files, "page.html")
	if err != nil {
		return nil, fmt.Errorf("apidoc: %w", err)
	}
	services := calls(&doc)
	pages := map[string]Page{Home + "/style.css": {"text/css; charset=utf-8", style}}
	add := func(path string, v view) error {
		v.API, v.Version, v.Services, v.Path = doc.Info.Title, doc.Info.Version, services, path
		var b bytes.Buffer
		if err := t.Execute(&b, v); err != nil {
			return fmt.Errorf("apidoc: %s: %w", path, err)
		}
		pages[path] = Page{"text/html; charset=utf-8", b.Bytes()}
		return nil
	}
	if err := add(Home, view{Title: "All calls", About: paragraphs(doc.Info.Description), All: true}); err != nil {
		return nil, err
	}
	for _, s := range services {
		for _, c := range s.Calls {
			if err := add(c.Link, view{Title: c.ID, About: paragraphs(c.description), Call: c}); err != nil {
				return nil, err
			}
		}
	}
	for _, d := range doc.Definitions {
		v := view{Title: d.Key, Type: ofType(&d.Value)}
		v.About, v.Type.Values = describe(&d.Value)
		if err := add(typeLink(d.Key), v); err != nil {
			return nil, err
		}
	}
	return pages, nil
}

// view is what the template shows.
type view struct {
	API, Version, Title, Path string

	About    []string // paragraphs
	Services []service
	All      bool
	Call     *call
	Type     *shape
}

type service struct {
	Name, About string
	Calls       []*call
}

type call struct {
	ID, Link, Method, Path, Summary string

	Fields  []field // of path and query
	Body    *kind
	Answers []answer

	description string
}

type answer struct {
	Code, About string
	Kind        kind
}

// shape is a type: an object with fields, or an enum with values.
type shape struct {
	Fields []field
	Values []value
}

type field struct {
	Name, In           string
	Kind               kind
	Required, ReadOnly bool
	About              []string
}

type value struct{ Name, About string }

// kind names a type, and where it is told.
type kind struct {
	Before, Name, Link string
}

func typeLink(name string) string { return Home + "/types/" + name }

// calls are those of each service, in the order of the tags.
func calls(doc *document) []service {
	var out []service
	for _, t := range doc.Tags {
		s := service{Name: t.Name, About: t.Description}
		for _, p := range doc.Paths {
			for _, op := range p.Value {
				if slices.Contains(op.Value.Tags, t.Name) {
					s.Calls = append(s.Calls, ofCall(p.Key, op.Key, &op.Value))
				}
			}
		}
		out = append(out, s)
	}
	return out
}

func ofCall(path, method string, op *operation) *call {
	c := &call{
		ID: op.OperationID, Link: Home + "/calls/" + op.OperationID, Method: strings.ToUpper(method), Path: path,
		Summary: op.Summary, description: op.Description,
	}
	for _, p := range op.Parameters {
		if p.In == "body" {
			k := ofKind(&p.Schema)
			c.Body = &k
			continue
		}
		c.Fields = append(c.Fields, field{Name: p.Name, In: p.In, Kind: ofKind(&p.schema), Required: p.Required, About: paragraphs(p.Description)})
	}
	for _, r := range op.Responses {
		c.Answers = append(c.Answers, answer{Code: r.Key, About: r.Value.Description, Kind: ofKind(&r.Value.Schema)})
	}
	return c
}

func ofType(s *schema) *shape {
	t := &shape{}
	for _, p := range s.Properties {
		t.Fields = append(t.Fields, field{
			Name: p.Key, Kind: ofKind(&p.Value), Required: slices.Contains(s.Required, p.Key), ReadOnly: p.Value.ReadOnly,
			About: paragraphs(p.Value.Description),
		})
	}
	return t
}

func ofKind(s *schema) kind {
	switch name := s.refers(); {
	case name != "":
		return kind{Name: name, Link: typeLink(name)}
	case s.Items != nil:
		k := ofKind(s.Items)
		k.Before = "list of " + k.Before
		return k
	case s.Format != "":
		return kind{Name: s.Type + " (" + s.Format + ")"}
	case s.Type == "":
		return kind{Name: "any"}
	}
	return kind{Name: s.Type}
}

// describe parts the description of a type from those of its values, which the generator
// writes as a list: " - NAME: text".
func describe(s *schema) ([]string, []value) {
	about, list, _ := strings.Cut("\n"+s.Description, "\n - ")
	said := map[string]string{}
	for _, line := range strings.Split(list, "\n - ") {
		name, text, _ := strings.Cut(line, ":")
		said[name] = strings.Join(strings.Fields(text), " ")
	}
	var values []value
	for _, e := range s.Enum {
		name := fmt.Sprint(e)
		values = append(values, value{name, said[name]})
	}
	if values == nil {
		return paragraphs(s.Description), nil
	}
	return paragraphs(about), values
}

// paragraphs parts a text at empty lines; other ends of lines mean nothing.
func paragraphs(text string) []string {
	var out []string
	for _, p := range strings.Split(text, "\n\n") {
		if p = strings.Join(strings.Fields(p), " "); p != "" {
			out = append(out, p)
		}
	}
	return out
}
