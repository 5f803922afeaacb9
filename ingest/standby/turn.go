package standby

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"hawser/ingest/journal"
)

// Run takes the journal into memory when its disk fails, or its server outside does not
// answer, and back when it can be written again, until ctx ends; before and after, an
// error of the disk goes to who meets it. It returns what cannot be gone on from: that
// of a journal outside another owner has followed, and records that have moved. It is
// called once.
func (j *Journal) Run(ctx context.Context) error {
	j.running.Store(true)
	defer j.running.Store(false)
	for {
		st := j.now()
		disk := st.disk.Load()
		var why error
		select {
		case <-ctx.Done():
			return nil
		case <-disk.Failed():
			if why = disk.Err(); !j.inside() {
				return why
			}
		case why = <-j.ends:
		}
		j.fall(ctx, st, disk, why)
		if err := j.rise(ctx); err != nil && ctx.Err() == nil {
			return err
		} else if err != nil {
			return nil
		}
	}
}

// fall takes the journal into memory.
func (j *Journal) fall(ctx context.Context, st *stage, disk *journal.Journal, why error) {
	base := journal.Position(j.seen.Load())
	if j.inside() { // a server outside would not say
		ctx, cancel := context.WithTimeout(ctx, time.Second)
		defer cancel()
		if _, last, err := disk.Bounds(ctx); err == nil {
			base = max(base, last)
		}
	}
	st.last = base
	j.mu.Lock()
	j.outages++
	j.mu.Unlock()
	j.begin(newStage(disk, newMemory(base)), State{Since: time.Now(), Err: why})
	j.records.unkept()
	j.log.Error("NOTHING IS RECORDED: the journal takes nothing; watching goes on in memory, sources keep their readings", "after", base, "err", why)
}

// rise tries until the journal can be written again, or cannot be gone on from, or ctx
// ends.
func (j *Journal) rise(ctx context.Context) error {
	tick := time.NewTicker(tryEvery)
	defer tick.Stop()
	said := ""
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		err := j.comeBack(ctx)
		var lost *journal.HeldError
		switch {
		case err == nil:
			return nil
		case errors.Is(err, errMoved) || errors.As(err, &lost) || !j.inside() && errors.Is(err, journal.ErrStorage):
			return err
		case ctx.Err() == nil && err.Error() != said && !errors.Is(err, errNoRoom):
			said = err.Error()
			j.log.Warn("the journal cannot be written yet", "err", err)
		}
	}
}

// again gives the journal on disk if it can be written: one inside is opened anew.
func (j *Journal) again(ctx context.Context, st *stage) (*journal.Journal, error) {
	if !j.inside() {
		disk := st.disk.Load()
		ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
		defer cancel()
		return disk, disk.Put(ctx, "standby", "tried", []byte(time.Now().UTC().Format(time.RFC3339)))
	}
	if err := tryDisk(j.o.Journal.Dir); err != nil {
		return nil, err
	}
	if failed := st.disk.Swap(nil); failed != nil {
		_ = failed.Close() // what it failed with has been told
	}
	return journal.Open(ctx, j.o.Journal)
}

// comeBack gives the journal on disk what memory holds and goes on there, if it can be
// written.
func (j *Journal) comeBack(ctx context.Context) error {
	st := j.now()
	disk, err := j.again(ctx, st)
	if err != nil {
		return err
	}
	j.mu.Lock()
	st.end()
	j.mu.Unlock()
	st.memory.watchers.Wait() // what they have in hand may make records
	last, err := j.restore(ctx, disk, st.memory.base)
	if err != nil {
		j.records.unkept()
		j.begin(newStage(disk, st.memory), j.State())
		return err
	}
	j.mu.Lock()
	for name := range j.readers {
		if at, told := j.back[name]; !told || last < at {
			j.back[name] = last
		}
	}
	j.mu.Unlock()
	kept := newStage(disk, nil)
	j.begin(kept, State{})
	if err := errors.Join(j.records.failed(), j.writeHeld(ctx, disk, false)); err != nil { // since they were written
		j.over(kept, err)
	}
	j.log.Info("recording again", "after", last)
	if j.o.OnKept != nil {
		j.o.OnKept()
	}
	return nil
}

// restore writes to disk what was held and returns after which position nothing is
// as it was in memory.
func (j *Journal) restore(ctx context.Context, disk *journal.Journal, base journal.Position) (journal.Position, error) {
	_, last, err := disk.Bounds(ctx)
	if err != nil {
		return 0, err
	}
	last = min(last, base)
	if err := j.records.restore(ctx, disk); err != nil {
		return 0, err
	}
	if err := j.writeHeld(ctx, disk, !j.inside()); err != nil {
		return 0, err
	}
	if j.o.OnBack != nil {
		return last, j.o.OnBack(ctx, last)
	}
	return last, nil
}

// errNoRoom is what is expected while a disk is full.
var errNoRoom = errors.New("no room")

// leastRoom is how much must fit on the disk before the journal is opened again,
// bytes: some hours of a busy terminal. Common practice, no source.
const leastRoom = 16 << 20

// tryDisk finds out whether the disk takes that much, by writing it.
func tryDisk(dir string) (err error) {
	f, err := os.Create(filepath.Join(dir, "room"))
	if err != nil {
		return fmt.Errorf("%w: %w", errNoRoom, err)
	}
	defer func() {
		if e := errors.Join(err, f.Close(), os.Remove(f.Name())); e != nil {
			err = fmt.Errorf("%w: %w", errNoRoom, e)
		}
	}()
	block := make([]byte, 1<<20)
	rand.Read(block) // what is all the same may take no room
	for range leastRoom / len(block) {
		if _, err := f.Write(block); err != nil {
			return err
		}
	}
	return f.Sync()
}
