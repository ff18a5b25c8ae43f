package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
)

// mostBytes bounds what is read; the translator refuses less than that with a better
// sentence.
const mostBytes = 64 << 20

// read gives the content of a file, or of standard input for "-". It ends with ctx
// even while standard input says nothing.
func (p *program) read(ctx context.Context, file string) ([]byte, error) {
	if file == "" {
		return nil, wrong("-f needs a file, or - for standard input")
	}
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, wrong("%s: %s", file, cause(err))
		}
		defer f.Close()
		return readAll(file, f)
	}
	type answer struct {
		data []byte
		err  error
	}
	done := make(chan answer, 1)
	go func() {
		data, err := readAll("standard input", p.in)
		done <- answer{data, err}
	}()
	select {
	case a := <-done:
		return a.data, a.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func readAll(name string, r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, wrong("%s: %s", name, cause(err))
	}
	if len(data) > mostBytes {
		return nil, wrong("%s: is larger than %d MB", name, mostBytes>>20)
	}
	if len(data) == 0 {
		return nil, wrong("%s: is empty", name)
	}
	return data, nil
}

func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
