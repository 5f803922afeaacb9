package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"hawser/ingest/folder"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/services/backup"
)

func newRestore(s streams) *cobra.Command {
	data := defaultConfig().Data
	cmd := &cobra.Command{
		Use:   "restore [flags] FILE",
		Short: "Make a data folder of a backup",
		Long: `restore makes a server's data folder of a file that "hawser backup" wrote. The
folder must be empty or not there. Every part is checked first; what a restore that
was cut off leaves is none that a server opens.

What came in after the backup is not in it. Gateways go on after what the restored
journal has, with what they still keep.`,
		Example: `  hawser restore --data /var/lib/hawser monday.zip`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return restore(cmd.Context(), s, data, args[0])
		},
	}
	cmd.Flags().StringVar(&data, "data", data, "data `FOLDER` to make")
	return cmd
}

func restore(ctx context.Context, s streams, data, path string) error {
	names, err := os.ReadDir(data)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, d := range names {
		if d.Name() != "lost+found" { // of a file system's own
			return usageError{fmt.Errorf("--data: %s is not empty", data)}
		}
	}
	a, err := backup.Open(path)
	if err != nil {
		return err
	}
	defer a.Close()
	if m := a.Manifest; m.Folder > folder.Form || m.Folder < 1 {
		return &backup.Error{Path: path, Part: "manifest.json", Err: fmt.Errorf(
			"its data is of form %d, written by %s; this version of hawser knows forms up to %d", m.Folder, m.By, folder.Form)}
	}
	if err := a.Check(ctx); err != nil {
		return err
	}
	// Within the folder, which may be a file system of its own. While it is there the
	// folder is none that a server opens.
	aside := filepath.Join(data, folder.Restoring)
	if err := fillFolder(ctx, aside, a); err != nil {
		return errors.Join(err, os.RemoveAll(aside))
	}
	if err := moveUp(aside, data); err != nil {
		return err
	}
	return describe(s.out, data+": restored", a.Manifest)
}

// moveUp moves what is in a folder to the one it is in, and removes it.
func moveUp(from, to string) error {
	names, err := os.ReadDir(from)
	if err != nil {
		return err
	}
	for _, d := range names {
		if err := os.Rename(filepath.Join(from, d.Name()), filepath.Join(to, d.Name())); err != nil {
			return err
		}
	}
	return errors.Join(folder.SyncDir(to), os.Remove(from), folder.SyncDir(to))
}

// fillFolder puts all parts in a folder and on disk.
func fillFolder(ctx context.Context, dir string, a *backup.Archive) error {
	if err := folder.Make(dir, a.Manifest.Folder); err != nil {
		return err
	}
	if err := restoreJournal(ctx, filepath.Join(dir, "journal"), a); err != nil {
		return err
	}
	for _, p := range a.Manifest.Parts {
		if strings.HasPrefix(p.Name, storeDir+"/") {
			if err := restoreFile(filepath.Join(dir, filepath.FromSlash(p.Name)), p.Name, a); err != nil {
				return err
			}
		}
	}
	return syncTree(dir)
}

// restoreJournal makes the journal of its parts, and puts the plans on record.
func restoreJournal(ctx context.Context, dir string, a *backup.Archive) (err error) {
	parts := map[journal.Part]io.Reader{}
	for part, name := range partNames() {
		r, err := a.Part(name)
		if err != nil {
			return err
		}
		defer r.Close()
		parts[part] = r
	}
	if err := journal.Restore(ctx, dir, parts); err != nil {
		return err
	}
	plans, err := a.Part(plansPart)
	if err != nil {
		return err
	}
	defer plans.Close()
	j, err := journal.Open(ctx, journal.Options{Dir: dir, KeepLimits: true})
	if err != nil {
		return err
	}
	return errors.Join(planbook.Paste(ctx, j, plans), j.Close())
}

func restoreFile(path, part string, a *backup.Archive) error {
	r, err := a.Part(part)
	if err != nil {
		return err
	}
	defer r.Close()
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, r)
	return errors.Join(err, f.Close())
}

// syncTree puts all files of a folder and their names on disk.
func syncTree(dir string) error {
	return filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return folder.SyncDir(name) // a file is synced alike
	})
}
