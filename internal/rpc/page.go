package rpc

import (
	"crypto/sha256"
	"encoding/base64"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
)

const mostItems = 1000 // of a page, and what 0 asks for

// paging is what a request for a list carries.
type paging interface {
	GetPageSize() int32
	GetPageToken() string
}

// paged cuts a page out of a list with unique keys. The token holds the last key.
func paged[T any](collection string, all []T, key func(*T) string, r paging) (page []T, next string, err error) {
	from := 0
	if t := r.GetPageToken(); t != "" {
		after, ok := openToken(collection, t)
		if ok {
			from = 1 + slices.IndexFunc(all, func(v T) bool { return key(&v) == after })
		}
		if from == 0 {
			return nil, "", fault.New(fault.Invalid, "PAGE_TOKEN", "page_token", "is not a next_page_token of this list; leave it out to start at the beginning")
		}
	}
	size := int(r.GetPageSize())
	if size <= 0 || size > mostItems {
		size = mostItems
	}
	to := min(from+size, len(all))
	if to < len(all) {
		next = token(collection, key(&all[to-1]))
	}
	return all[from:to], next, nil
}

// token seals a key for one collection. It carries no authority, so a short checksum
// against slips is enough.
func token(collection, after string) string {
	return base64.RawURLEncoding.EncodeToString([]byte(checksum(collection, after) + after))
}

func openToken(collection, t string) (after string, ok bool) {
	raw, err := base64.RawURLEncoding.DecodeString(t)
	if err != nil || len(raw) < checksumBytes {
		return "", false
	}
	sum, after := string(raw[:checksumBytes]), string(raw[checksumBytes:])
	return after, sum == checksum(collection, after)
}

const checksumBytes = 4

func checksum(collection, after string) string {
	sum := sha256.Sum256([]byte(strings.Join([]string{"page", collection, after}, "\x00")))
	return string(sum[:checksumBytes])
}
