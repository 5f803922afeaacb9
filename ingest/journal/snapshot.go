package journal

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// Part is one of the streams that a journal is made of.
type Part string

// The parts, in the order in which they are to be written so that what is in one
// never points past the end of a later one: documents and records name positions
// of the telemetry.
const (
	Documents Part = documentStream
	AllLogs   Part = recordStream
	Telemetry Part = telemetryStream
)

// Parts are all parts in that order.
func Parts() []Part { return []Part{Documents, AllLogs, Telemetry} }

// partHead is the first line of a part's snapshot; the server's own form follows.
type partHead struct {
	Config server.StreamConfig `json:"config"`
	State  server.StreamState  `json:"state"`
}

const (
	// snapshotStall is how long the server waits for a receiver that takes nothing.
	snapshotStall = 5 * time.Second
	maxPartHead   = 1 << 20
)

// Snapshot writes a part as it is, while the journal goes on. It needs no room of
// its own. A writer that takes nothing for some seconds ends it.
func (j *Journal) Snapshot(ctx context.Context, part Part, w io.Writer) error {
	if err := j.snapshot(ctx, part, w); err != nil {
		return fmt.Errorf("journal: snapshot of %s: %w", part, err)
	}
	return nil
}

func (j *Journal) snapshot(ctx context.Context, part Part, w io.Writer) error {
	if err := j.usable(); err != nil {
		return err
	}
	ctx, stop := j.within(ctx)
	defer stop()
	inbox := nats.NewInbox()
	chunks := make(chan *nats.Msg, 256)
	sub, err := j.readConn.ChanSubscribe(inbox, chunks)
	if err != nil {
		return err
	}
	defer sub.Unsubscribe()
	var answer server.JSApiStreamSnapshotResponse
	request := server.JSApiStreamSnapshotRequest{DeliverSubject: inbox, NoConsumers: true}
	if err := j.ask(ctx, fmt.Sprintf(server.JSApiStreamSnapshotT, part), request, &answer); err != nil {
		return err
	}
	if answer.Error != nil {
		return answer.Error
	}
	if answer.Config == nil || answer.State == nil {
		return errors.New("the server says nothing of the stream")
	}
	head, err := json.Marshal(partHead{*answer.Config, *answer.State})
	if err != nil {
		return err
	}
	if _, err := w.Write(append(head, '\n')); err != nil {
		return err
	}
	for {
		select {
		case m := <-chunks:
			if len(m.Data) == 0 {
				return chunkError(m)
			}
			if _, err := w.Write(m.Data); err != nil {
				return err
			}
			if m.Reply != "" {
				if err := m.Respond(nil); err != nil {
					return err
				}
			}
		case <-time.After(4 * snapshotStall):
			return errors.New("the server sends nothing")
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// chunkError is what the last, empty message of a snapshot says went wrong.
func chunkError(m *nats.Msg) error {
	if status := m.Header.Get("Status"); status != "" && status != "204" {
		return fmt.Errorf("%s %s", status, m.Header.Get("Description"))
	}
	return nil
}

// ask makes a request of the server's own interface.
func (j *Journal) ask(ctx context.Context, subject string, request, answer any) error {
	return ask(ctx, j.readConn, subject, request, answer)
}

func ask(ctx context.Context, nc *nats.Conn, subject string, request, answer any) error {
	data, err := json.Marshal(request)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	m, err := nc.RequestWithContext(ctx, subject, data)
	if err != nil {
		return err
	}
	return json.Unmarshal(m.Data, answer)
}

// Restore makes the journal of a folder, which must not have one, from snapshots of
// its parts. Where it fails the folder is worth nothing.
func Restore(ctx context.Context, dir string, parts map[Part]io.Reader) (err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	o := Options{Dir: dir}
	o.setDefaults()
	ns, err := startServer(dir, &serverLog{log: o.Log})
	if err != nil {
		return err
	}
	defer func() {
		ns.Shutdown()
		ns.WaitForShutdown()
	}()
	nc, err := nats.Connect("", nats.InProcessServer(ns), nats.NoReconnect())
	if err != nil {
		return err
	}
	defer nc.Close()
	for _, part := range Parts() {
		if parts[part] == nil {
			return fmt.Errorf("journal: restore: no snapshot of %s", part)
		}
		if err := restorePart(ctx, nc, part, parts[part]); err != nil {
			return fmt.Errorf("journal: restore of %s: %w", part, err)
		}
	}
	return nil
}

func restorePart(ctx context.Context, nc *nats.Conn, part Part, r io.Reader) error {
	in := bufio.NewReaderSize(r, 1<<17)
	line, err := in.ReadSlice('\n')
	if errors.Is(err, bufio.ErrBufferFull) || len(line) > maxPartHead {
		return errors.New("not a snapshot: its first line is too long")
	}
	if err != nil {
		return fmt.Errorf("not a snapshot: %w", err)
	}
	var head partHead
	if err := json.Unmarshal(line, &head); err != nil {
		return fmt.Errorf("not a snapshot: %w", err)
	}
	if head.Config.Name != string(part) {
		return fmt.Errorf("the snapshot is of %q", head.Config.Name)
	}
	head.Config.Replicas, head.Config.Placement = 1, nil // of a cluster, it may be
	var answer server.JSApiStreamRestoreResponse
	if err := ask(ctx, nc, fmt.Sprintf(server.JSApiStreamRestoreT, part), server.JSApiStreamRestoreRequest{Config: head.Config, State: head.State}, &answer); err != nil {
		return err
	}
	if answer.Error != nil {
		return answer.Error
	}
	chunk := make([]byte, 1<<17)
	for {
		n, err := io.ReadFull(in, chunk)
		if n > 0 {
			if err := sendChunk(ctx, nc, answer.DeliverSubject, chunk[:n]); err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			return finishRestore(ctx, nc, answer.DeliverSubject, head.State)
		case err != nil:
			return err
		}
	}
}

// sendChunk sends one chunk and waits until it is taken. An answer with something in
// it is an error.
func sendChunk(ctx context.Context, nc *nats.Conn, to string, chunk []byte) error {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	m, err := nc.RequestWithContext(ctx, to, chunk)
	if err != nil {
		return err
	}
	if len(m.Data) == 0 {
		return nil
	}
	var answer server.JSApiStreamCreateResponse
	if err := json.Unmarshal(m.Data, &answer); err != nil {
		return err
	}
	if answer.Error != nil {
		return answer.Error
	}
	return errors.New("the server ended it early")
}

// finishRestore ends a restore and holds what came of it against what the snapshot
// said of itself.
func finishRestore(ctx context.Context, nc *nats.Conn, to string, want server.StreamState) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute) // all blocks are read through
	defer cancel()
	m, err := nc.RequestWithContext(ctx, to, nil)
	if err != nil {
		return err
	}
	var answer server.JSApiStreamCreateResponse
	if err := json.Unmarshal(m.Data, &answer); err != nil {
		return err
	}
	switch {
	case answer.Error != nil:
		return answer.Error
	case answer.StreamInfo == nil:
		return errors.New("the server says nothing of what it has restored")
	case answer.StreamInfo.State.LastSeq < want.LastSeq:
		return fmt.Errorf("it ends at %d, the snapshot says %d", answer.StreamInfo.State.LastSeq, want.LastSeq)
	}
	return nil
}
