package main

import (
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// flagError adds the flag that was probably meant.
func flagError(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	if !errors.As(err, &unknown) {
		return err
	}
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	if near := nearest(unknown.GetSpecifiedName(), names); near != "" {
		return fmt.Errorf("%w\nDid you mean --%s?", err, near)
	}
	return err
}

// nearest gives the known word that a slip of typing could have meant, "" for none.
func nearest(word string, known []string) string {
	known = append([]string(nil), known...)
	sort.Strings(known)
	best, at := max(2, len(word)/3)+1, ""
	for _, k := range known {
		d := slips(strings.ToLower(word), strings.ToLower(k))
		if len(word) >= 3 && strings.Contains(k, strings.ToLower(word)) {
			d = min(d, 1)
		}
		if d < best && d < len(k) {
			best, at = d, k
		}
	}
	return at
}

// slips counts the letters to insert, delete or replace.
func slips(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		corner := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			d := corner
			if a[i-1] != b[j-1] {
				d++
			}
			corner = row[j]
			row[j] = min(d, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

func trimEnd(s string) string { return strings.TrimRight(s, "\n") }
