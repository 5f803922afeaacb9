package journal

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// A journal outside has one owner at a time of those who want to own it
// (Options.Owner). The owner says so in a document, again and again, and each time
// only where the newest word there is still its own; that is the server's to check
// (Nats-Expected-Last-Subject-Sequence), so that two never both succeed.
//
//	owner  ─ says 7 ─ says 8 ─╳ cut off ── ownFor is over: appends nothing
//	other          reads 8, sees it stand ─────── for takeAfter ──► says 9, if 8 is still the newest
//
// An owner reckons from when it began to say its word, the other from when it had
// read it, each by its own clock and none by the server's: the first is over before
// the second. What says its last word at its Close is followed at once, and so is an
// owner by itself, killed and started again. One that comes back after another has
// followed it has failed (ErrStorage), and what it had sent before is refused (fence.go).
const (
	sayEvery  = 4 * time.Second
	ownFor    = 12 * time.Second
	takeAfter = 20 * time.Second
	askEvery  = 500 * time.Millisecond // after no answer, and while another's word is looked at

	ownerSubject = documentPrefix + "owner.journal"
)

// HeldError says that another owner of the journal lives.
type HeldError struct{ By string }

func (e *HeldError) Error() string {
	return "the journal is in use by " + cmp.Or(e.By, "another owner")
}

// word is what an owner says, as JSON.
type word struct {
	Owner    string    `json:"owner"`
	Instance string    `json:"instance"` // this opening of the journal
	Name     string    `json:"name"`     // for who is refused
	Since    time.Time `json:"since"`
	Last     bool      `json:"last"` // it owns the journal no more
}

// owner is an owner that lives.
type owner struct {
	j     *Journal
	word  word
	every time.Duration // sayEvery
	own   time.Duration // ownFor
	take  time.Duration // takeAfter

	cancel context.CancelFunc
	ended  chan struct{}
	seq    uint64 // of the newest word, ours but for Open

	mu   sync.Mutex
	said time.Time // when the newest word that was taken was begun
}

func newOwner(j *Journal) *owner {
	return &owner{j: j, every: cmp.Or(j.o.sayEvery, sayEvery), own: cmp.Or(j.o.ownFor, ownFor), take: cmp.Or(j.o.takeAfter, takeAfter),
		word: word{Owner: j.o.Owner, Instance: rand.Text(), Name: j.o.OwnerName, Since: time.Now().UTC()}}
}

// holds reports whether nobody else can own the journal. Both of the system's clocks
// are asked: one may stand while the machine sleeps, the other be set.
func (o *owner) holds() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	now := time.Now()
	return now.Sub(o.said) < o.own && now.Round(0).Sub(o.said.Round(0)) < o.own
}

// errNewer says that a newer word stands there than was thought.
var errNewer = errors.New("another's word is newer")

// say says the word in the place of the newest that is known.
func (o *owner) say(ctx context.Context) error {
	data, err := json.Marshal(o.word)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, o.own/3)
	defer cancel()
	began := time.Now()
	ack, err := o.j.js.PublishMsg(ctx, &nats.Msg{Subject: ownerSubject, Data: data}, jetstream.WithExpectLastSequencePerSubject(o.seq))
	var refused *jetstream.APIError
	switch {
	case errors.As(err, &refused) && isWrongLast(refused.ErrorCode):
		return errNewer
	case err != nil:
		return err
	}
	o.seq = ack.Sequence
	o.mu.Lock()
	o.said = began
	o.mu.Unlock()
	return nil
}

// isWrongLast reports whether a message was refused for another than expected before
// it; a replicated stream has a code of its own for it.
func isWrongLast(code jetstream.ErrorCode) bool {
	return code == jetstream.JSErrCodeStreamWrongLastSequence || code == jetstream.JSErrCodeStreamWrongLastSequenceConstant
}

// newest is the newest word. Where it cannot be read it is nobody's.
func (o *owner) newest(ctx context.Context) (w word, seq uint64, err error) {
	m, err := o.j.documents.GetLastMsgForSubject(ctx, ownerSubject)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return word{Last: true}, 0, nil
	}
	if err != nil {
		return w, 0, err
	}
	if err := json.Unmarshal(m.Data, &w); err != nil {
		w = word{}
	}
	return w, m.Sequence, nil
}

// begin owns the journal, as soon as no other does. Where another's word is said
// again meanwhile, the error is a HeldError.
func (o *owner) begin(ctx context.Context) error {
	var since time.Time // the word at o.seq, another's, has stood
	for again := time.Now().Add(o.take + time.Minute); ; {
		last, seq, err := o.newest(ctx)
		free := last.Last || last.Owner == o.word.Owner
		switch {
		case err != nil || free:
		case since.IsZero():
			since = time.Now()
			o.j.log.Warn("the journal is another's, waiting whether that one lives", "owner", last.Name, "at_most", o.take)
		case seq != o.seq:
			return &HeldError{By: last.Name}
		}
		if err == nil {
			o.seq = seq
			if free || time.Since(since) >= o.take {
				err = o.say(ctx)
				if err == nil {
					return nil
				}
			}
		}
		if err != nil && !errors.Is(err, errNewer) && time.Now().After(again) {
			return o.j.readError(err) // as where a stream is opened, a cluster may have no leader for a while
		}
		select {
		case <-time.After(askEvery):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// keep says the word until it is to end, or another's has come after it.
func (o *owner) keep(ctx context.Context) {
	defer close(o.ended)
	wait, held := o.every, true
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		err := o.again(ctx)
		var other *HeldError
		if errors.As(err, &other) {
			o.j.fail(fmt.Errorf("%w, which took it when this one's word had not come to its server for %s", err, o.take))
			return
		}
		if wait = o.every; err != nil {
			wait = min(o.every, askEvery)
		}
		if holds := o.holds(); holds != held && ctx.Err() == nil {
			if held = holds; held {
				o.j.log.Info("the journal is this one's as before")
			} else {
				o.j.log.Error("the journal may be another's by now: nothing is appended until its server says it is not", "unsaid for", o.own, "err", err)
			}
		}
	}
}

// again says the word again. Where the one there is not what was thought, it is ours
// of an answer that was lost, or of before the server lost its end and leaves the
// journal to us, or another's.
func (o *owner) again(ctx context.Context) error {
	err := o.say(ctx)
	if !errors.Is(err, errNewer) {
		return err
	}
	last, seq, err := o.newest(ctx)
	if err != nil {
		return err
	}
	before := seq < o.seq && (last.Last || last.Owner == o.word.Owner)
	if last.Instance != o.word.Instance && !before {
		return &HeldError{By: last.Name}
	}
	o.seq = seq
	return o.say(ctx)
}

// end says the last word, for at most a second.
func (o *owner) end() {
	o.cancel()
	<-o.ended
	if o.j.failureOf() != nil || !o.j.readConn.IsConnected() {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	o.word.Last = true
	if err := o.again(ctx); err != nil {
		o.j.log.Warn("not said that the journal is free: the next one waits", "err", err)
	}
}

// own makes the journal its opener's, where that is wanted.
func (j *Journal) own(ctx context.Context) error {
	if j.embedded() || j.o.Owner == "" {
		return nil
	}
	o := newOwner(j)
	if err := o.begin(ctx); err != nil {
		return err
	}
	ctx, o.cancel = context.WithCancel(context.Background())
	o.ended = make(chan struct{})
	j.owner = o
	go o.keep(ctx)
	return nil
}
