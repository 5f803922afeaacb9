// Package backup is the form of a backup: one file with all parts of a server's data
// and a manifest that says what they must be. It never looks into a part. Its
// invariant: nothing is read from an archive that has not been checked against its
// manifest first.
//
//	a ZIP file, its parts stored as they are:
//	  journal/documents, journal/records, journal/telemetry, journal/plans
//	  store/…        the files of the embedded store, where there is one
//	  manifest.json  last: format, and name, size and SHA-256 of each part
//
// An archive that was cut off has no manifest.
package backup

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"time"
)

// Format is the version of archives that this version of hawser writes. It reads
// those up to it.
const Format = 1

const manifestName = "manifest.json"

// maxManifest bounds a manifest, bytes.
const maxManifest = 64 << 20

// Manifest says what an archive holds.
type Manifest struct {
	Format int       `json:"format"`
	Made   time.Time `json:"made"`
	By     string    `json:"by"`     // version of hawser
	Folder int       `json:"folder"` // form of the data folder
	Store  string    `json:"store"`  // kind of store; only an embedded one is in the archive
	Parts  []Part    `json:"parts"`
}

// Part is one file of an archive.
type Part struct {
	Name   string `json:"name"` // with slashes
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Writer writes an archive in one go. It is not safe for concurrent use.
type Writer struct {
	z     *zip.Writer
	made  time.Time
	parts []Part
	sum   hash.Hash
	bytes int64
}

// NewWriter begins an archive that is made now, as the caller's clock has it.
func NewWriter(w io.Writer, made time.Time) *Writer {
	return &Writer{z: zip.NewWriter(w), made: made.UTC().Round(0)}
}

// Add writes a part.
func (w *Writer) Add(name string, write func(io.Writer) error) error {
	if !fs.ValidPath(name) || name == "." || name == manifestName {
		return fmt.Errorf("backup: %q is no name of a part", name)
	}
	part, err := w.z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: w.made})
	if err != nil {
		return err
	}
	w.sum, w.bytes = sha256.New(), 0
	if err := write(io.MultiWriter(part, w.sum, count{&w.bytes})); err != nil {
		return fmt.Errorf("backup: part %s: %w", name, err)
	}
	w.parts = append(w.parts, Part{Name: name, Bytes: w.bytes, SHA256: hex.EncodeToString(w.sum.Sum(nil))})
	return nil
}

type count struct{ n *int64 }

func (c count) Write(p []byte) (int, error) {
	*c.n += int64(len(p))
	return len(p), nil
}

// Close writes the manifest, whose Format, Made and Parts it fills in. Without it the
// archive is none.
func (w *Writer) Close(m Manifest) error {
	m.Format, m.Made, m.Parts = Format, w.made, w.parts
	data, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	f, err := w.z.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Store, Modified: w.made})
	if err != nil {
		return err
	}
	if _, err := f.Write(append(data, '\n')); err != nil {
		return err
	}
	return w.z.Close()
}

// Error is what is wrong with an archive, and with which part of it.
type Error struct {
	Path string
	Part string // "" for the archive as a whole
	Err  error
}

func (e *Error) Error() string {
	if e.Part == "" {
		return fmt.Sprintf("%s: %v", e.Path, e.Err)
	}
	return fmt.Sprintf("%s: part %s: %v", e.Path, e.Part, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// Archive is an archive whose manifest has been read. Check it before its parts are
// used.
type Archive struct {
	Manifest Manifest
	path     string
	z        *zip.ReadCloser
	files    map[string]*zip.File
}

// Open reads an archive's manifest. Its errors are Errors, except where the file
// cannot be read at all.
func Open(path string) (_ *Archive, err error) {
	z, err := zip.OpenReader(path)
	if errors.Is(err, zip.ErrFormat) || errors.Is(err, zip.ErrAlgorithm) || errors.Is(err, zip.ErrChecksum) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, &Error{Path: path, Err: errors.New("not a backup, or cut off before its manifest")}
	}
	if err != nil {
		return nil, err
	}
	a := &Archive{path: path, z: z, files: map[string]*zip.File{}}
	defer func() {
		if err != nil {
			_ = z.Close()
		}
	}()
	for _, f := range z.File {
		if a.files[f.Name] != nil {
			return nil, a.fault(f.Name, errors.New("is there twice"))
		}
		a.files[f.Name] = f
	}
	return a, a.readManifest()
}

func (a *Archive) fault(part string, err error) error {
	return &Error{Path: a.path, Part: part, Err: err}
}

func (a *Archive) readManifest() error {
	f := a.files[manifestName]
	if f == nil {
		return a.fault("", errors.New("not a backup: it has no "+manifestName))
	}
	r, err := f.Open()
	if err != nil {
		return a.fault(manifestName, err)
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, maxManifest))
	if err == nil {
		err = json.Unmarshal(data, &a.Manifest)
	}
	switch {
	case err != nil:
		return a.fault(manifestName, fmt.Errorf("damaged: %w", err))
	case a.Manifest.Format > Format:
		return a.fault(manifestName, fmt.Errorf("format %d, made by a later version of hawser (%s); this one knows formats up to %d", a.Manifest.Format, a.Manifest.By, Format))
	case a.Manifest.Format < 1:
		return a.fault(manifestName, fmt.Errorf("format %d: want 1 or more", a.Manifest.Format))
	}
	return nil
}

// Check holds every part against the manifest, the first that differs being the
// error: one that is missing, damaged or not in the manifest.
func (a *Archive) Check(ctx context.Context) error {
	listed := map[string]bool{manifestName: true}
	for _, p := range a.Manifest.Parts {
		if !fs.ValidPath(p.Name) || p.Name == "." || listed[p.Name] {
			return a.fault(manifestName, fmt.Errorf("%q is no name of a part, or there twice", p.Name))
		}
		listed[p.Name] = true
		if err := a.check(ctx, p); err != nil {
			return err
		}
	}
	for _, f := range a.z.File {
		if !listed[f.Name] {
			return a.fault(f.Name, errors.New("is not in the manifest"))
		}
	}
	return nil
}

func (a *Archive) check(ctx context.Context, p Part) error {
	r, err := a.Part(p.Name)
	if err != nil {
		return err
	}
	defer r.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, &stoppable{ctx, r})
	switch got := hex.EncodeToString(sum.Sum(nil)); {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return a.fault(p.Name, fmt.Errorf("damaged: %w", err))
	case n != p.Bytes:
		return a.fault(p.Name, fmt.Errorf("damaged: %d bytes, the manifest says %d", n, p.Bytes))
	case got != p.SHA256:
		return a.fault(p.Name, fmt.Errorf("damaged: its SHA-256 is %.12s…, the manifest says %.12s…", got, p.SHA256))
	}
	return nil
}

// stoppable reads until a context ends.
type stoppable struct {
	ctx context.Context
	r   io.Reader
}

func (s *stoppable) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(p)
}

// Part opens a part.
func (a *Archive) Part(name string) (io.ReadCloser, error) {
	f := a.files[name]
	if f == nil {
		return nil, a.fault(name, errors.New("is missing"))
	}
	r, err := f.Open()
	if err != nil {
		return nil, a.fault(name, err)
	}
	return r, nil
}

// Close closes the archive.
func (a *Archive) Close() error { return a.z.Close() }
