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
	data, out string
	server    serverOptions
}

func newBackup(s streams) *cobra.Command {
	o := backupOptions{data: defaultConfig().Data}
	cmd := &cobra.Command{
		Use:   "backup --out FILE [flags]",
		Short: "Write all that a server keeps to one file",
		Long: `backup writes journal, alarms, line records, plans and the embedded store to one
file and checks it. With --server it asks a running one, which goes on meanwhile;
that takes the role administer. Without, the server is to be stopped and its data
folder is read.

Settings, keys and the access file are not in it, nor is history in InfluxDB, which
has means of its own. "hawser restore" makes a data folder of the file.`,
		Example: `  hawser backup --server http://127.0.0.1:7410 --out monday.zip
  hawser backup --server https://berths.example:7410 --ca ca.crt --token-file admin.token --out monday.zip
  hawser backup --data /var/lib/hawser --out monday.zip`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.validate(cmd.Flags().Changed("data")); err != nil {
				return usageError{err}
			}
			return runBackup(cmd.Context(), s, &o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.data, "data", o.data, "data `FOLDER` of a server that is stopped")
	f.StringVar(&o.out, "out", "", "`FILE` to write; it must not be there yet")
	o.server.bind(f)
	return cmd
}

func (o *backupOptions) validate(dataGiven bool) error {
	switch {
	case o.out == "":
		return errors.New("--out must be given")
	case o.server.url != "" && dataGiven:
		return errors.New("--server stands in place of --data")
	}
	if _, err := os.Lstat(o.out); err == nil {
		return fmt.Errorf("--out: %s is there already", o.out)
	}
	if o.server.url == "" {
		return nil
	}
	return o.server.validate()
}

// runBackup writes the file, which has its name only once it is checked.
func runBackup(ctx context.Context, s streams, o *backupOptions) error {
	var manifest backup.Manifest
	write := func(w io.Writer) error {
		if o.server.url != "" {
			return o.server.fetch(ctx, "/api/backup", nil, w)
		}
		return backupFolder(ctx, s, o.data, w)
	}
	check := func(aside string) error {
		a, err := backup.Open(aside)
		if err != nil {
			return err
		}
		manifest = a.Manifest
		return errors.Join(a.Check(ctx), a.Close())
	}
	if err := writeAside(o.out, 0o600, write, check); err != nil {
		return err
	}
	return describe(s.out, o.out+": checked", manifest)
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
		return fmt.Errorf("%w: a server that runs is backed up with --server", err)
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
