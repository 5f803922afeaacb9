package access_test

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"hawser/services/access"
)

var located = regexp.MustCompile(`access\.yaml(:\d+)?: `)

// FuzzAccessFile gives anything as an access file: it is taken, or every fault is
// told with the file's name and, but for its size, a line of it.
func FuzzAccessFile(f *testing.F) {
	f.Add(desk)
	f.Add("issuer: {url: 'https://login.example', audience: a, name: email, grants: [{group: g, role: watch, ship: Heron}]}\n")
	f.Add("devices:\n  ca: /dev/null\n  revoked: [" + oneHash + "]\n")
	f.Add("people: &a [*a]\n")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "access.yaml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		err := access.Check(path)
		for _, one := range split(err) {
			if !located.MatchString(one.Error()) {
				t.Errorf("no place in %q", one)
			}
		}
	})
}

func split(err error) []error {
	var many interface{ Unwrap() []error }
	if errors.As(err, &many) {
		return many.Unwrap()
	}
	if err == nil {
		return nil
	}
	return []error{err}
}
