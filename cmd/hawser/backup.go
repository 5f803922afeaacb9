package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hawser/ingest/folder"
	"hawser/ingest/journal"
	"hawser/services/backup"
)

// backupOptions are the flags of hawser backup.
type backupOptions struct {
	data, from, out string
	peer            peerOptions
}

func newBackup(s streams) *cobra.Command {
	o := backupOptions{data: defaultConfig().Data}
	cmd := &cobra.Command{
		Use:   "backup",
		Short: "Write all that a server keeps to one file",
		Long: `backup writes journal, alarms, line records, plans and the embedded store to one
file and checks it. With --from it asks a running server, which goes on meanwhile;
that takes the role administer. Without, the server is to be stopped and its data
folder is read.

Settings, keys and the access file are not in it, nor is history in InfluxDB, which
has means of its own. "hawser restore" makes a data folder of the file.`,
		Example: `  hawser backup --from http://127.0.0.1:7410 --out monday.zip
  hawser backup --from https://berths.example:7410 --ca ca.crt --token-file admin.token --out monday.zip
  hawser backup --data /var/lib/hawser --out monday.zip`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.validate(cmd.Flags().Changed("data")); err != nil {
				return usageError{fmt.Errorf("backup: %w", err)}
			}
			return runBackup(cmd.Context(), s, &o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.data, "data", o.data, "data `FOLDER` of a server that is stopped")
	f.StringVar(&o.from, "from", "", "`URL` of a running server's pages, in place of --data")
	f.StringVar(&o.out, "out", "", "`FILE` to write; it must not be there yet")
	o.peer.bind(f)
	return cmd
}

func (o *backupOptions) validate(dataGiven bool) error {
	switch {
	case o.out == "":
		return errors.New("--out must be given")
	case o.from != "" && dataGiven:
		return errors.New("--from stands in place of --data")
	}
	if _, err := os.Lstat(o.out); err == nil {
		return fmt.Errorf("--out: %s is there already", o.out)
	}
	if o.from == "" {
		return o.peer.settle()
	}
	return o.peer.settleURL("--from", o.from)
}

// runBackup writes the file aside, checks it and only then gives it its name.
func runBackup(ctx context.Context, s streams, o *backupOptions) (err error) {
	aside := o.out + ".part"
	f, err := os.OpenFile(aside, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(aside))
		}
	}()
	if o.from != "" {
		err = o.peer.fetch(ctx, strings.TrimSuffix(o.from, "/")+"/api/backup", f)
	} else {
		err = backupFolder(ctx, s, o.data, f)
	}
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	a, err := backup.Open(aside)
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.Check(ctx); err != nil {
		return err
	}
	if err := errors.Join(os.Rename(aside, o.out), folder.SyncDir(filepath.Dir(o.out))); err != nil {
		return err
	}
	return describe(s.out, o.out+": checked", a.Manifest)
}

// describe says in a line or two what a backup holds.
func describe(w io.Writer, what string, m backup.Manifest) error {
	size, history := int64(0), 0
	for _, p := range m.Parts {
		size += p.Bytes
		if strings.HasPrefix(p.Name, storeDir+"/") {
			history++
		}
	}
	_, err := fmt.Fprintf(w, "%s, %.1f MB in %d parts, made %s\n", what, float64(size)/1e6, len(m.Parts), m.Made.Format(time.RFC3339))
	if err == nil && history == 0 {
		_, err = fmt.Fprintf(w, "history is not in it: the store is %s\n", m.Store)
	}
	return err
}

// backupFolder backs the folder of a stopped server up.
func backupFolder(ctx context.Context, s streams, data string, w io.Writer) (err error) {
	if _, err := os.Stat(filepath.Join(data, "journal")); err != nil {
		return fmt.Errorf("%s is no data folder: %w", data, err)
	}
	release, err := folder.Lock(data)
	var inUse *folder.InUseError
	if errors.As(err, &inUse) {
		return fmt.Errorf("%w: a server that runs is backed up with --from", err)
	} else if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, release()) }()
	if _, err := folder.Open(data); err != nil {
		return err
	}
	j, err := journal.Open(ctx, journal.Options{Dir: filepath.Join(data, "journal"), KeepLimits: true, Log: newLog(s.err, slog.LevelWarn)})
	if err != nil {
		return err
	}
	c := contents{journal: j, kind: storeNone}
	dir := filepath.Join(data, "store")
	if _, err := os.Stat(dir); err == nil {
		// Nobody writes to it while the folder is ours.
		c.kind, c.store = storeEmbedded, func(context.Context) (string, func(), error) { return dir, func() {}, nil }
	} else if !errors.Is(err, fs.ErrNotExist) {
		return errors.Join(err, j.Close())
	}
	return errors.Join(writeBackup(ctx, w, c), j.Close())
}
