package service

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"strings"
)

// A key as its holder has it: phw_<tenant>_<id>_<secret>_<checksum>, the last three in
// base32. The tenant says in whose data the id is looked up; the checksum lets scanners
// of leaked secrets, and the server, tell it from other text without looking.
const secretPrefix = "phw"

// SecretBytes is how many random bytes a key holds.
const SecretBytes = 32

// PepperBytes is how long a pepper is.
const PepperBytes = 32

// Pepper is the server's own secret, beside the database and never in it: without it
// nobody can tell from what is stored whether a key is right.
type Pepper [PepperBytes]byte

// For derives a key for another use: HMAC-SHA256 of its name.
func (p Pepper) For(use string) [32]byte {
	mac := hmac.New(sha256.New, p[:])
	mac.Write([]byte(use))
	return [32]byte(mac.Sum(nil))
}

// base32 in small letters: one word to double-click on, and no case to get wrong.
var letters = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// credential is a key in parts.
type credential struct {
	tenant Tenant
	id     ID
	secret [SecretBytes]byte
}

func (c *credential) String() string {
	body := strings.Join([]string{secretPrefix, string(c.tenant), letters.EncodeToString(c.id[:]), letters.EncodeToString(c.secret[:])}, "_")
	return body + "_" + checksum(body)
}

func checksum(body string) string {
	return letters.EncodeToString(binary.BigEndian.AppendUint32(nil, crc32.ChecksumIEEE([]byte(body))))
}

// parseCredential reads the one spelling that String prints.
func parseCredential(s string) (c credential, ok bool) {
	const most = 200
	if len(s) > most {
		return c, false
	}
	part := strings.Split(s, "_")
	if len(part) != 5 || part[0] != secretPrefix {
		return c, false
	}
	id, err := letters.DecodeString(part[2])
	if err != nil || len(id) != len(c.id) {
		return c, false
	}
	secret, err := letters.DecodeString(part[3])
	if err != nil || len(secret) != len(c.secret) {
		return c, false
	}
	c.tenant = Tenant(part[1])
	copy(c.id[:], id)
	copy(c.secret[:], secret)
	return c, c.tenant.Check() == nil && c.id.Check("") == nil && c.String() == s
}

// hash is what is stored of a key. It is bound to the tenant and the id, so that rows
// can't be exchanged for each other.
func (p *Pepper) hash(c *credential) []byte {
	m := hmac.New(sha256.New, p[:])
	m.Write([]byte("key\x00" + string(c.tenant) + "\x00"))
	m.Write(c.id[:])
	m.Write(c.secret[:])
	return m.Sum(nil)
}

// seal hides a secret in an answer that is kept for retries. Only this server's pepper
// opens it, and only for the same tenant and request.
func (p *Pepper) seal(t Tenant, requestID, plain string, random io.Reader) ([]byte, error) {
	box, err := p.box(t, requestID)
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, box.NonceSize())
	if _, err := io.ReadFull(random, nonce); err != nil {
		return nil, err
	}
	return box.Seal(nonce, nonce, []byte(plain), nil), nil
}

func (p *Pepper) open(t Tenant, requestID string, sealed []byte) (string, error) {
	box, err := p.box(t, requestID)
	if err != nil {
		return "", err
	}
	if len(sealed) < box.NonceSize() {
		return "", errors.New("a sealed secret is too short")
	}
	plain, err := box.Open(nil, sealed[:box.NonceSize()], sealed[box.NonceSize():], nil)
	return string(plain), err
}

func (p *Pepper) box(t Tenant, requestID string) (cipher.AEAD, error) {
	key, err := hkdf.Key(sha256.New, p[:], nil, "answer\x00"+string(t)+"\x00"+requestID, 32)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCM(block)
}
