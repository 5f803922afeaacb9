package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"github.com/alecthomas/units"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"go.yaml.in/yaml/v3"

	"hawser/ingest/store/roll"
)

// config is the settings of a station. A flag goes before the file, the file
// before the default.
type config struct {
	HTTP           string        `yaml:"http"`
	GRPC           string        `yaml:"grpc"`
	Data           string        `yaml:"data"`
	Plans          []string      `yaml:"plans"`
	ClockTolerance time.Duration `yaml:"clock_tolerance"`
	SilentAfter    time.Duration `yaml:"silent_after"`
	TLS            tlsConfig     `yaml:"tls"`
	Access         accessConfig  `yaml:"access"`
	Journal        journalConfig `yaml:"journal"`
	Store          storeConfig   `yaml:"store"`
	Escalate       escalation    `yaml:"escalate"`
	Deliver        deliverConfig `yaml:"deliver"`
	Curves         curves        `yaml:"curves"`
}

type storeConfig struct {
	Kind         string        `yaml:"kind"`
	Retention    time.Duration `yaml:"retention"`
	Rollups      rollupConfig  `yaml:"rollups"`
	URL          string        `yaml:"url"`
	Org          string        `yaml:"org"`
	Bucket       string        `yaml:"bucket"`
	RollupBucket string        `yaml:"rollup_bucket"`
	TokenFile    string        `yaml:"token_file"`
}

// rollupConfig is how long the embedded store keeps the rollups of each step.
type rollupConfig struct {
	Second time.Duration `yaml:"1s"`
	Ten    time.Duration `yaml:"10s"`
	Minute time.Duration `yaml:"1m"`
	Span   time.Duration `yaml:"10m"`
}

func (r rollupConfig) retention() roll.Retention {
	return roll.Retention{r.Second, r.Ten, r.Minute, r.Span}
}

func defaultRollups() rollupConfig {
	d := roll.DefaultRetention()
	return rollupConfig{d[roll.Second], d[roll.TenSeconds], d[roll.Minute], d[roll.TenMinutes]}
}

// Kinds of store.
const (
	storeEmbedded = "embedded"
	storeInflux   = "influxdb"
	storeNone     = "none"
)

// byteSize is a number of bytes, written as 512MiB or 20GiB.
type byteSize int64

func (b *byteSize) Set(s string) error {
	n, err := units.ParseStrictBytes(s)
	if err != nil || n <= 0 {
		return fmt.Errorf("%q is no size; write it as 512MiB or 20GiB", s)
	}
	*b = byteSize(n)
	return nil
}

func (b *byteSize) String() string { return units.Base2Bytes(*b).String() }
func (b *byteSize) Type() string   { return "size" }

// UnmarshalYAML reads the written form.
func (b *byteSize) UnmarshalYAML(n *yaml.Node) error {
	if err := b.Set(n.Value); err != nil {
		return fmt.Errorf("line %d: %w", n.Line, err)
	}
	return nil
}

func defaultConfig() config {
	return config{
		HTTP: "127.0.0.1:7410", GRPC: "127.0.0.1:7411", Data: "hawser-data",
		ClockTolerance: time.Minute, SilentAfter: 8 * time.Second,
		Store:   storeConfig{Kind: storeEmbedded, Retention: 30 * 24 * time.Hour, Rollups: defaultRollups()},
		Journal: journalConfig{Replicas: 1, MaxBytes: 20 << 30, MaxAge: 7 * 24 * time.Hour, Sync: 20 * time.Millisecond},
	}
}

// bind makes flags for the settings that a command line is likely to want.
func (c *config) bind(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&c.HTTP, "http", c.HTTP, "`ADDRESS` of pages, live events, metrics and health")
	f.StringVar(&c.GRPC, "grpc", c.GRPC, "`ADDRESS` of the gRPC services")
	f.StringVar(&c.Data, "data", c.Data, "`FOLDER` of journal and store")
	f.StringArrayVar(&c.Plans, "plan", c.Plans, "mooring plan `FILE` to put its berth under; may be given again for other berths")
	f.DurationVar(&c.ClockTolerance, "clock-tolerance", c.ClockTolerance, "how far ahead of this machine's clock a reading may be dated")
	f.DurationVar(&c.SilentAfter, "silent-after", c.SilentAfter, "how long a berth may send nothing before that is an alarm; above the longest time between two of its batches")
	f.StringVar(&c.TLS.Cert, "tls-cert", c.TLS.Cert, "`FILE` of the server's certificate chain (PEM)")
	f.StringVar(&c.TLS.Key, "tls-key", c.TLS.Key, "`FILE` of its private key (PEM)")
	f.StringVar(&c.Access.File, "access", c.Access.File, "`FILE` of who may do what (YAML); with TLS, needed to listen beyond loopback")
	f.StringVar(&c.Access.Audit, "audit", c.Access.Audit, "`FILE` that who did what is added to; standard error where none is given")
	f.StringVar(&c.Journal.URL, "journal", c.Journal.URL, "`URL` of an outside NATS server with JetStream (nats://HOST:PORT, or tls:// for none but TLS), or several of a cluster, commas between, in place of the embedded journal")
	f.StringVar(&c.Journal.RootCAs, "journal-root-cas", c.Journal.RootCAs, "`FILE` of the authorities that the NATS server's certificate is of (PEM); with it the connection is TLS")
	f.StringVar(&c.Journal.ClientCert, "journal-client-cert", c.Journal.ClientCert, "`FILE` of the certificate to show to the NATS server (PEM); with it the connection is TLS")
	f.StringVar(&c.Journal.ClientKey, "journal-client-key", c.Journal.ClientKey, "`FILE` of its private key (PEM)")
	f.StringVar(&c.Journal.UserCredentials, "journal-user-credentials", c.Journal.UserCredentials, "`FILE` of NATS user credentials (.creds)")
	f.StringVar(&c.Journal.TokenFile, "journal-token-file", c.Journal.TokenFile, "`FILE` with the NATS server's token")
	f.IntVar(&c.Journal.Replicas, "journal-replicas", c.Journal.Replicas, "`NUMBER` of servers of the NATS cluster that each hold all of the journal: 1, 3 or 5")
	f.Var(&c.Journal.MaxBytes, "journal-max-bytes", "size at which the journal lets its oldest go")
	f.DurationVar(&c.Journal.MaxAge, "journal-max-age", c.Journal.MaxAge, "age at which the journal lets its oldest go")
	f.DurationVar(&c.Journal.Sync, "journal-sync", c.Journal.Sync, "longest time from a batch to its being on disk and receipted")
	f.StringVar(&c.Store.Kind, "store", c.Store.Kind, "`KIND` of place where history goes: embedded, influxdb or none")
	f.DurationVar(&c.Store.Retention, "store-retention", c.Store.Retention, "age at which the embedded store lets readings go; it keeps their rollups for years, by step (store.rollups in a settings file)")
	f.StringVar(&c.Store.URL, "influxdb-url", c.Store.URL, "`URL` of the InfluxDB server")
	f.StringVar(&c.Store.Org, "influxdb-org", c.Store.Org, "`NAME` of the InfluxDB organisation")
	f.StringVar(&c.Store.Bucket, "influxdb-bucket", c.Store.Bucket, "`NAME` of the InfluxDB bucket, or database/retention-policy of InfluxDB 1.8")
	f.StringVar(&c.Store.RollupBucket, "influxdb-rollup-bucket", c.Store.RollupBucket, "`NAME` of the InfluxDB bucket of the rollups, which may keep them longer; where none is given, that of the readings")
	f.StringVar(&c.Store.TokenFile, "influxdb-token-file", c.Store.TokenFile, "`FILE` with the InfluxDB token; else the environment's HAWSER_INFLUXDB_TOKEN")
}

// load reads the settings file over the defaults and puts the flags that were
// given on top.
func (c *config) load(cmd *cobra.Command, path string) error {
	if path != "" {
		again := givenFlags(cmd)
		*c = defaultConfig()
		if err := c.read(path); err != nil {
			return usageError{err}
		}
		if err := again(); err != nil {
			return usageError{err}
		}
	}
	if err := c.validate(); err != nil {
		return usageError{err}
	}
	return nil
}

// givenFlags remembers the flags on the command line; the function it returns
// sets them again.
func givenFlags(cmd *cobra.Command) func() error {
	var set []func() error
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if list, ok := f.Value.(pflag.SliceValue); ok {
			given := slices.Clone(list.GetSlice())
			set = append(set, func() error { return list.Replace(given) })
			return
		}
		given := f.Value.String()
		set = append(set, func() error { return f.Value.Set(given) })
	})
	return func() error {
		var errs []error
		for _, s := range set {
			errs = append(errs, s())
		}
		return errors.Join(errs...)
	}
}

func (c *config) read(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	dec := yaml.NewDecoder(io.LimitReader(f, 1<<20))
	dec.KnownFields(true)
	if err := dec.Decode(c); err != nil && !errors.Is(err, io.EOF) {
		return settingsError(path, err)
	}
	return nil
}

func (c *config) validate() error {
	switch {
	case c.Data == "":
		return errors.New("data: a folder is needed")
	case c.ClockTolerance < 0:
		return fmt.Errorf("clock_tolerance: %s is negative", c.ClockTolerance)
	case c.SilentAfter < time.Second || c.SilentAfter > time.Hour:
		return fmt.Errorf("silent_after: %s must be from 1s to 1h", c.SilentAfter)
	case c.Store.Retention <= 0:
		return fmt.Errorf("store.retention: %s must be above zero", c.Store.Retention)
	}
	if err := c.Journal.validate(); err != nil {
		return err
	}
	if err := c.Store.Rollups.retention().Validate(); err != nil {
		return fmt.Errorf("store.rollups: %w", err)
	}
	if err := c.checkAccess(); err != nil {
		return err
	}
	if err := c.Escalate.validate(); err != nil {
		return err
	}
	if _, err := c.Curves.byMaterial(); err != nil {
		return err
	}
	switch c.Store.Kind {
	case storeEmbedded, storeNone:
	case storeInflux:
		if c.Store.URL == "" || c.Store.Bucket == "" {
			return errors.New("store: influxdb needs a url and a bucket")
		}
	default:
		return fmt.Errorf("store.kind: %q is none of embedded, influxdb, none", c.Store.Kind)
	}
	return nil
}

// token is the InfluxDB token, from its file or the environment, never logged.
func (s *storeConfig) token() (string, error) {
	if s.TokenFile == "" {
		return os.Getenv("HAWSER_INFLUXDB_TOKEN"), nil
	}
	token, err := secretIn(s.TokenFile)
	if err != nil {
		return "", fmt.Errorf("store.token_file: %w", err)
	}
	return token, nil
}
