package service

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"io"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// tokenLife is how long a page token is good for.
const tokenLife = 72 * time.Hour

// tokens seals places in lists, so that they tell nothing, can't be made up, and fit only
// the tenant and the question they came from.
type tokens struct {
	aead   cipher.AEAD
	now    func() time.Time
	random io.Reader
}

func newTokens(key [32]byte, now func() time.Time, random io.Reader) *tokens {
	// Neither fails with 32 bytes and the usual block.
	block, _ := aes.NewCipher(key[:])
	aead, _ := cipher.NewGCM(block)
	return &tokens{aead, now, random}
}

const placeBytes = 8 + 4 + 16 // expiry, day, id

// question is all of a list that a token is bound to.
func question(t Tenant, list string, q Query) []byte {
	q.After, q.Size = Cursor{}, 0
	text, _ := json.Marshal(q) // plain values have an encoding
	sum := sha256.Sum256([]byte(string(t) + "\x00" + list + "\x00" + string(text)))
	return sum[:]
}

// seal makes the token of a place; of the end, none.
func (k *tokens) seal(c Cursor, question []byte) (string, error) {
	if c == (Cursor{}) {
		return "", nil
	}
	out := make([]byte, k.aead.NonceSize(), k.aead.NonceSize()+placeBytes+k.aead.Overhead())
	if _, err := io.ReadFull(k.random, out); err != nil {
		return "", fault.Wrap(fault.Internal, "RANDOM", err)
	}
	place := binary.BigEndian.AppendUint64(nil, uint64(k.now().Add(tokenLife).Unix()))
	place = binary.BigEndian.AppendUint32(place, uint32(c.Day))
	place = append(place, c.ID[:]...)
	return base64.RawURLEncoding.EncodeToString(k.aead.Seal(out, out, place, question)), nil
}

// open reads a token; the empty one is the beginning. Whatever is wrong with it is the
// same fault: Invalid PAGE_TOKEN.
func (k *tokens) open(token string, question []byte) (Cursor, error) {
	if token == "" {
		return Cursor{}, nil
	}
	wrong := fault.New(fault.Invalid, ReasonPageToken, "page_token", "is not a next_page_token of this list, or is older than three days; leave it out to start at the beginning")
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != k.aead.NonceSize()+placeBytes+k.aead.Overhead() {
		return Cursor{}, wrong
	}
	place, err := k.aead.Open(nil, raw[:k.aead.NonceSize()], raw[k.aead.NonceSize():], question)
	if err != nil || k.now().Unix() >= int64(binary.BigEndian.Uint64(place)) {
		return Cursor{}, wrong
	}
	c := Cursor{Day: plan.Date(int32(binary.BigEndian.Uint32(place[8:])))}
	copy(c.ID[:], place[12:])
	return c, nil
}
