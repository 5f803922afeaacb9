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

// Run takes the journal into memory when its disk fails and back when it can be
// written again, until ctx ends; before and after, a disk that fails is told to who
// meets it. Of a journal outside it returns what that failed with. It is called once.
func (j *Journal) Run(ctx context.Context) error {
	j.running.Store(true)
	defer j.running.Store(false)
	for {
		st := j.now()
		disk := st.disk.Load()
		select {
		case <-ctx.Done():
			return nil
		case <-disk.Failed():
		}
		if !j.inside() {
			return disk.Err()
		}
		j.fall(ctx, st, disk)
		if !j.rise(ctx) {
			return nil
		}
	}
}

// fall takes the journal into memory.
func (j *Journal) fall(ctx context.Context, st *stage, disk *journal.Journal) {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	base := journal.Position(j.seen.Load())
	if _, last, err := disk.Bounds(ctx); err == nil {
		base = max(base, last)
	}
	st.last = base
	j.mu.Lock()
	j.outages++
	j.mu.Unlock()
	j.records.unkept()
	j.begin(newStage(disk, newMemory(base)), State{Since: time.Now(), Err: disk.Err()})
	j.log.Error("NOTHING IS RECORDED: the journal's disk takes nothing; watching goes on in memory, sources keep their readings", "after", base, "err", disk.Err())
}

// rise tries until the journal is on disk again, or ctx ends, which is false.
func (j *Journal) rise(ctx context.Context) bool {
	tick := time.NewTicker(tryEvery)
	defer tick.Stop()
	said := ""
	for {
		select {
		case <-ctx.Done():
			return false
		case <-tick.C:
		}
		err := j.reopen(ctx)
		if err == nil {
			return true
		}
		if ctx.Err() == nil && err.Error() != said && !errors.Is(err, errNoRoom) {
			said = err.Error()
			j.log.Warn("journal cannot be opened again yet", "err", err)
		}
	}
}

// reopen opens the journal anew and gives it what memory holds, if the disk takes it.
func (j *Journal) reopen(ctx context.Context) error {
	if err := tryDisk(j.o.Journal.Dir); err != nil {
		return err
	}
	st := j.now()
	if failed := st.disk.Swap(nil); failed != nil {
		_ = failed.Close() // what it failed with has been told
	}
	disk, err := journal.Open(ctx, j.o.Journal)
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
	j.begin(newStage(disk, nil), State{})
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
	if err := j.writeHeld(ctx, disk); err != nil {
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
