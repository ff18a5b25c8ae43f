package plan

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strconv"
)

// DocumentVersion names the canonical encoding. Any change of a field's name, order
// or meaning in Request or Program is a new version.
const DocumentVersion = "1"

// Canonical is the project's own encoding of a value of this package: JSON with the
// fields in declared order, integers only, unset values left out, no spaces, no HTML
// escapes. It is what is stored and digested; API encodings are not.
func Canonical(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte{'\n'}), nil
}

// Lists of these kinds would be written as base64 text, as lists of bytes are.

// MarshalJSON writes the number.
func (m Muscle) MarshalJSON() ([]byte, error) { return strconv.AppendUint(nil, uint64(m), 10), nil }

// MarshalJSON writes the number.
func (e Equipment) MarshalJSON() ([]byte, error) { return strconv.AppendUint(nil, uint64(e), 10), nil }

// MarshalJSON writes the number.
func (c Condition) MarshalJSON() ([]byte, error) { return strconv.AppendUint(nil, uint64(c), 10), nil }

// DigestOf gives "sha256:" and the hex digest of the canonical encoding.
func DigestOf(v any) (string, error) {
	b, err := Canonical(v)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:]), nil
}

// Seal computes the program's digest over everything but the digest itself.
func (p *Program) Seal() error {
	p.Digest = ""
	d, err := DigestOf(p)
	if err != nil {
		return err
	}
	p.Digest = d
	return nil
}

// Intact reports whether the digest fits the content.
func (p Program) Intact() (bool, error) {
	want := p.Digest
	p.Digest = ""
	got, err := DigestOf(&p)
	return got == want, err
}
