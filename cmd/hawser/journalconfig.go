package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"hawser/ingest/journal"
)

// journalConfig is where the journal is and what it keeps. What of it says how a NATS
// server is connected with has the names of the options of NATS's own client.
type journalConfig struct {
	URL             string        `yaml:"url"`
	Replicas        int           `yaml:"replicas"`
	RootCAs         string        `yaml:"root_cas"`
	ClientCert      string        `yaml:"client_cert"`
	ClientKey       string        `yaml:"client_key"`
	UserCredentials string        `yaml:"user_credentials"`
	User            string        `yaml:"user"`
	PasswordFile    string        `yaml:"password_file"`
	TokenFile       string        `yaml:"token_file"`
	MaxBytes        byteSize      `yaml:"max_bytes"`
	MaxAge          time.Duration `yaml:"max_age"`
	Sync            time.Duration `yaml:"sync"`
}

func (c *journalConfig) validate() error {
	ways := 0
	for _, way := range []string{c.UserCredentials, c.User, c.TokenFile} {
		if way != "" {
			ways++
		}
	}
	secured := c.RootCAs != "" || c.ClientCert != "" || c.ClientKey != ""
	switch {
	case c.MaxAge <= 0:
		return fmt.Errorf("journal.max_age: %s must be above zero", c.MaxAge)
	case c.Sync < time.Millisecond || c.Sync > 10*time.Second:
		return fmt.Errorf("journal.sync: %s must be from 1ms to 10s", c.Sync)
	case c.Replicas != 1 && c.Replicas != 3 && c.Replicas != 5:
		return fmt.Errorf("journal.replicas: %d is none of 1, 3, 5", c.Replicas)
	case c.URL == "" && (c.Replicas != 1 || ways > 0 || secured):
		return errors.New("journal: replicas, certificates, credentials, user and token are of a NATS server at journal.url")
	case (c.User == "") != (c.PasswordFile == ""):
		return errors.New("journal: a user and a password_file go together")
	case (c.ClientCert == "") != (c.ClientKey == ""):
		return errors.New("journal: client_cert and client_key go together")
	case ways > 1:
		return errors.New("journal: one of user_credentials, user and token_file is enough")
	case c.URL == "":
		return nil
	}
	for one := range strings.SplitSeq(c.URL, ",") {
		if one = strings.TrimSpace(one); !strings.HasPrefix(one, "nats://") && !strings.HasPrefix(one, "tls://") {
			return fmt.Errorf("journal.url: %q must be nats://HOST:PORT or tls://HOST:PORT", one)
		}
	}
	return nil
}

// options are the journal's, for a data folder. Secrets are read from their files.
func (c *journalConfig) options(data string) (o journal.Options, err error) {
	o = journal.Options{
		URL: c.URL, RootCAs: c.RootCAs, ClientCert: c.ClientCert, ClientKey: c.ClientKey,
		UserCredentials: c.UserCredentials, User: c.User, Replicas: c.Replicas,
		MaxBytes: int64(c.MaxBytes), MaxAge: c.MaxAge, SyncEvery: c.Sync,
	}
	if c.URL == "" {
		o.Dir = filepath.Join(data, "journal")
	}
	for _, secret := range []struct {
		key, file string
		into      *string
	}{{"password_file", c.PasswordFile, &o.Password}, {"token_file", c.TokenFile, &o.Token}} {
		if secret.file == "" {
			continue
		}
		if *secret.into, err = secretIn(secret.file); err != nil {
			return o, fmt.Errorf("journal.%s: %w", secret.key, err)
		}
	}
	return o, nil
}
