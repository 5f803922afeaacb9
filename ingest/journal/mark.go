package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// mark is the line in journal.mark: what is certainly on disk.
type mark struct {
	position Position
	block    int    // the telemetry block that position is in or before
	missing  uint64 // positions between the first and the last known to be gone
	shut     bool   // the journal was closed in order
}

const markForm = "hawser-journal 1 position %020d block %010d missing %010d state %s\n"

func (m mark) String() string {
	state := "open"
	if m.shut {
		state = "shut"
	}
	return fmt.Sprintf(markForm, m.position, m.block, m.missing, state)
}

// markFile is rewritten in place: the line's length never changes and it fits a
// sector, so it is not torn.
type markFile struct{ f *os.File }

// openMark reads the mark, which is zero when there is none to be trusted.
func openMark(dir string) (*markFile, mark, error) {
	name := filepath.Join(dir, "journal.mark")
	b, err := os.ReadFile(name)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, mark{}, err
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, mark{}, err
	}
	return &markFile{f}, parseMark(string(b)), nil
}

func parseMark(s string) mark {
	var (
		m     mark
		state string
	)
	_, err := fmt.Sscanf(s, markForm, &m.position, &m.block, &m.missing, &state)
	m.shut = state == "shut"
	if err != nil || m.String() != s {
		return mark{}
	}
	return m
}

func (mf *markFile) write(m mark) error {
	_, err := mf.f.WriteAt([]byte(m.String()), 0)
	return err
}

func (mf *markFile) close(m mark) error {
	return errors.Join(mf.write(m), mf.f.Sync(), mf.f.Close())
}
