package apidoc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
)

// document is what is read of OpenAPI 2.0.
type document struct {
	Info struct{ Title, Version, Description string }
	Tags []struct{ Name, Description string }

	Paths       inOrder[inOrder[operation]]
	Definitions inOrder[schema]
}

type operation struct {
	OperationID, Summary, Description string

	Tags       []string
	Parameters []parameter
	Responses  inOrder[struct {
		Description string
		Schema      schema
	}]
}

type parameter struct {
	Name, In, Description string
	Required              bool

	Schema schema // of the body
	schema        // of all others
}

type schema struct {
	Type, Format, Description string

	Ref        string `json:"$ref"`
	AllOf      []schema
	Items      *schema
	Enum       []any
	Properties inOrder[schema]
	Required   []string
	ReadOnly   bool
	Additional json.RawMessage `json:"additionalProperties"`
}

// inOrder is a JSON object whose keys keep their order, which says what matters most.
type inOrder[V any] []entry[V]

type entry[V any] struct {
	Key   string
	Value V
}

// UnmarshalJSON reads an object.
func (o *inOrder[V]) UnmarshalJSON(data []byte) error {
	d := json.NewDecoder(bytes.NewReader(data))
	open, err := d.Token()
	if err != nil {
		return err
	}
	if open != json.Delim('{') {
		return fmt.Errorf("an object is needed, not %v", open)
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return err
		}
		e := entry[V]{Key: key.(string)} // keys are texts, or the decoder refuses them
		if err := d.Decode(&e.Value); err != nil {
			return fmt.Errorf("%s: %w", e.Key, err)
		}
		*o = append(*o, e)
	}
	return nil
}

// refers gives the name of the type behind a schema: its own reference, or that of the
// one it is put around; "" is none.
func (s *schema) refers() string {
	if len(s.AllOf) == 1 {
		s = &s.AllOf[0]
	}
	return strings.TrimPrefix(s.Ref, "#/definitions/")
}
