package archive

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
)

// Name is the stay's name in files: the berth and when the ship came.
func (s *Stay) Name() string { return s.Plan.Berth + "-" + s.Arrival.Format("20060102T1504") }

// Write writes the stay as files of that name in a folder: its plan as YAML and its
// recording as CSV, gzip.
func (s *Stay) Write(dir string) (plan, rec string, err error) {
	text, err := planfile.Marshal(s.Message)
	if err != nil {
		return "", "", err
	}
	plan, rec = filepath.Join(dir, s.Name()+".yaml"), filepath.Join(dir, s.Name()+".csv.gz")
	if err := os.WriteFile(plan, text, 0o666); err != nil {
		return "", "", err
	}
	f, err := os.Create(rec)
	if err != nil {
		return "", "", err
	}
	w := recording.NewWriter(f, recording.WriterOptions{Time: recording.UnixMilli, Gzip: true})
	err = s.Blocks(func(b *reading.Block) error { return w.Write(b) })
	if err = errors.Join(err, w.Close(), f.Close()); err != nil {
		return "", "", fmt.Errorf("archive: %s: %w", s.Name(), err)
	}
	return plan, rec, nil
}
