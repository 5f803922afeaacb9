package access

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
)

// maxFile bounds a file that is read whole, bytes.
const maxFile = 1 << 20

// sources are the files that something was read from, and what was in them then.
// They are compared by what is in them: a copy with an old date is a change, and
// nothing else is.
type sources struct {
	paths []string
	sum   hash.Hash
}

func newSources() *sources { return &sources{sum: sha256.New()} }

// read reads a file.
func (s *sources) read(path string) ([]byte, error) {
	data, err := readFile(path)
	s.paths = append(s.paths, path)
	fmt.Fprintf(s.sum, "%x %v\n", sha256.Sum256(data), err)
	return data, err
}

// changed reports whether any of the files is not as it was read.
func (s *sources) changed() bool {
	again := newSources()
	for _, path := range s.paths {
		_, _ = again.read(path) // that it cannot be read is part of the sum
	}
	return !bytes.Equal(again.sum.Sum(nil), s.sum.Sum(nil))
}

func readFile(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, maxFile+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", path, err)
	case len(data) > maxFile:
		return nil, errors.New(path + ": over 1 MiB")
	}
	return data, nil
}
