// Package waittest is for the tests of what runs beside them: it waits for what is to
// happen, and reads what is said and measured meanwhile.
package waittest

import (
	"bytes"
	"errors"
	"sync"
	"testing"
	"time"
)

// longest is how long a test waits for anything: far longer than it ever takes.
const longest = time.Minute

// Until tries until there is no error. what is what the test waits for.
func Until(t testing.TB, what string, try func() error) {
	t.Helper()
	Every(t, 5*time.Millisecond, what, try)
}

// True is Until for what does not say why it is not so yet.
func True(t testing.TB, what string, so func() bool) {
	t.Helper()
	Until(t, what, func() error {
		if !so() {
			return errNotYet
		}
		return nil
	})
}

var errNotYet = errors.New("not yet")

// Every is Until for tries that cost something, a time apart.
func Every(t testing.TB, apart time.Duration, what string, try func() error) {
	t.Helper()
	end := time.Now().Add(longest)
	tick := time.NewTicker(apart)
	defer tick.Stop()
	for {
		err := try()
		if err == nil {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("waiting for %s: %v", what, err)
		}
		<-tick.C
	}
}

// Buffer is a bytes.Buffer that is read while somebody writes to it. The zero value is
// empty.
type Buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *Buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *Buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}
