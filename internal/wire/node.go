package wire

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// kind is the shape of a node.
type kind uint8

const (
	isNull kind = iota
	isBool
	isNumber
	isText // quoted, or plain text that nothing else fits
	isList
	isObject
)

var kindNames = [...]string{"nothing", "true or false", "a number", "text", "a list", "a group of fields"}

// node is a document as it was written: keys in order, scalars as text, with the
// line of each, so that faults can be named where they stand.
type node struct {
	kind kind
	text string // scalars: as written, unquoted
	keys []key
	vals []*node // of lists and objects
	line int
}

type key struct {
	name string
	line int
}

const (
	maxBytes = 16 << 20
	maxDepth = 64
	maxNodes = 1_000_000 // with aliases spelled out
)

var (
	errTooLarge = errors.New("the document is too large")
	errTooDeep  = fmt.Errorf("more than %d levels lie in each other", maxDepth)
)

// parse reads JSON or YAML, whichever it is.
func parse(data []byte) (*node, error) {
	if len(data) > maxBytes {
		return nil, errTooLarge
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if t := bytes.TrimLeft(data, " \t\r\n"); len(t) > 0 && t[0] == '{' {
		n, err := parseJSON(data)
		if err == nil {
			return n, nil
		}
		// YAML's flow style starts with a brace too.
		if y, yerr := parseYAML(data); yerr == nil {
			return y, nil
		}
		return nil, err
	}
	return parseYAML(data)
}

type jsonParser struct {
	data []byte
	dec  *json.Decoder
	at   int // bytes whose lines are counted
	line int
	left int // nodes that may still come
}

func parseJSON(data []byte) (*node, error) { return parseJSONUpTo(data, maxNodes) }

func parseJSONUpTo(data []byte, nodes int) (*node, error) {
	if at := loneSurrogate(data); at >= 0 {
		return nil, fmt.Errorf("line %d: %s is half a character; its other half has to be beside it", 1+bytes.Count(data[:at], []byte{'\n'}), data[at:at+6])
	}
	p := &jsonParser{data: data, dec: json.NewDecoder(bytes.NewReader(data)), line: 1, left: nodes}
	p.dec.UseNumber()
	n, err := p.value(0)
	if err == nil {
		if _, more := p.dec.Token(); more != io.EOF {
			err = errors.New("something follows the end of the document")
		}
	}
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("the document ends too early")
		}
		return nil, fmt.Errorf("line %d: %w", p.here(), err)
	}
	return n, nil
}

// loneSurrogate finds half of a pair of escapes such as \ud83d\ude00, or gives -1. The
// decoder would read something else for it.
func loneSurrogate(data []byte) int {
	for at := 0; ; {
		i := bytes.IndexByte(data[at:], '\\')
		if i < 0 {
			return -1
		}
		at += i
		switch r := escaped(data[at:]); {
		case !utf16.IsSurrogate(r):
			at += 2 // r may be -1: another escape, or a broken one, which the decoder names
		case utf16.DecodeRune(r, escaped(data[at+6:])) == utf8.RuneError:
			return at
		default:
			at += 12
		}
		if at > len(data) {
			return -1
		}
	}
}

// escaped reads the \u and four hex digits at the start, or gives -1.
func escaped(data []byte) rune {
	if len(data) < 6 || data[0] != '\\' || data[1] != 'u' {
		return -1
	}
	n, err := strconv.ParseUint(string(data[2:6]), 16, 16)
	if err != nil {
		return -1
	}
	return rune(n)
}

// here gives the line at which the last token ends.
func (p *jsonParser) here() int {
	to := min(int(p.dec.InputOffset()), len(p.data))
	p.line += bytes.Count(p.data[p.at:to], []byte{'\n'})
	p.at = to
	return p.line
}

func (p *jsonParser) value(depth int) (*node, error) {
	t, err := p.dec.Token()
	if err != nil {
		return nil, err
	}
	return p.after(t, depth)
}

func (p *jsonParser) after(t json.Token, depth int) (*node, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("%w at byte %d", errTooDeep, p.dec.InputOffset())
	}
	if p.left--; p.left < 0 {
		return nil, errTooLarge
	}
	n := &node{line: p.here()}
	switch v := t.(type) {
	case nil:
	case bool:
		n.kind, n.text = isBool, strconv.FormatBool(v)
	case json.Number:
		n.kind, n.text = isNumber, v.String()
	case string:
		n.kind, n.text = isText, v
	case json.Delim:
		n.kind = isList
		if v == '{' {
			n.kind = isObject
		}
		for p.dec.More() {
			if n.kind == isObject {
				k, err := p.dec.Token()
				if err != nil {
					return nil, err
				}
				n.keys = append(n.keys, key{k.(string), p.here()}) // the decoder allows only strings here
			}
			c, err := p.value(depth + 1)
			if err != nil {
				return nil, err
			}
			n.vals = append(n.vals, c)
		}
		if _, err := p.dec.Token(); err != nil { // the closing one
			return nil, err
		}
	}
	return n, nil
}

func parseYAML(data []byte) (n *node, err error) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc yaml.Node
	if err := dec.Decode(&doc); errors.Is(err, io.EOF) {
		return &node{line: 1}, nil
	} else if err != nil {
		return nil, errors.New(strings.TrimPrefix(err.Error(), "yaml: "))
	}
	if err := dec.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return nil, errors.New("the file holds more than one document")
	}
	y := yamlParser{}
	return y.node(&doc, 0)
}

type yamlParser struct{ count int }

func (y *yamlParser) node(v *yaml.Node, depth int) (*node, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("line %d: %w", v.Line, errTooDeep)
	}
	if y.count++; y.count > maxNodes {
		return nil, errTooLarge
	}
	switch v.Kind {
	case yaml.DocumentNode:
		return y.node(v.Content[0], depth)
	case yaml.AliasNode:
		return y.node(v.Alias, depth+1)
	case yaml.ScalarNode:
		return scalar(v), nil
	}
	n := &node{kind: isList, line: v.Line}
	if v.Kind == yaml.MappingNode {
		n.kind = isObject
	}
	for i, c := range v.Content {
		if n.kind == isObject && i%2 == 0 {
			if c.Kind != yaml.ScalarNode {
				return nil, fmt.Errorf("line %d: the name of a field is plain text", c.Line)
			}
			n.keys = append(n.keys, key{c.Value, c.Line})
			continue
		}
		e, err := y.node(c, depth+1)
		if err != nil {
			return nil, err
		}
		n.vals = append(n.vals, e)
	}
	return n, nil
}

func scalar(v *yaml.Node) *node {
	n := &node{kind: isText, text: v.Value, line: v.Line}
	switch v.ShortTag() {
	case "!!null":
		n.kind = isNull
	case "!!bool":
		n.kind = isBool
	case "!!int", "!!float":
		n.kind = isNumber
	}
	return n
}
