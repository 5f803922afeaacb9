package main

import (
	"context"
	"encoding/base64"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"hawser/detect"
	"hawser/ingest/standby"
	"hawser/services/deliver"
)

// escalation is after which times, by priority, an alarm that nobody has
// acknowledged is escalated.
type escalation map[string][]time.Duration

func (e escalation) validate() error {
	for name, steps := range e {
		if _, err := priority(name); err != nil {
			return fmt.Errorf("escalate: %w", err)
		}
		if !slices.IsSorted(steps) || len(steps) > 0 && steps[0] <= 0 {
			return fmt.Errorf("escalate.%s: %v: expected rising times above zero", name, steps)
		}
	}
	return nil
}

// byPriority is the settings as the alarm log takes them, nil for its defaults.
func (e escalation) byPriority() map[detect.Priority][]time.Duration {
	if e == nil {
		return nil
	}
	out := map[detect.Priority][]time.Duration{}
	for name, steps := range e {
		if p, err := priority(name); err == nil {
			out[p] = steps
		}
	}
	return out
}

// priority is the priority of a name.
func priority(name string) (detect.Priority, error) {
	for p := detect.Emergency; p <= detect.Caution; p++ {
		if name == p.String() {
			return p, nil
		}
	}
	return 0, fmt.Errorf("%q is none of emergency, alarm, warning, caution", name)
}

// deliverConfig says where alarms go besides the pages.
type deliverConfig struct {
	Page          string              `yaml:"page"`
	Alertmanagers []destinationConfig `yaml:"alertmanagers"`
	Webhooks      []webhookConfig     `yaml:"webhooks"`
	Brokers       []brokerConfig      `yaml:"brokers"`
}

// destinationConfig is what all destinations have.
type destinationConfig struct {
	Name   string   `yaml:"name"`
	URL    string   `yaml:"url"`
	Berths []string `yaml:"berths"`
	Least  string   `yaml:"least"`
	Level  int      `yaml:"level"`
	Quiet  *struct {
		From string `yaml:"from"`
		To   string `yaml:"to"`
		Zone string `yaml:"zone"`
	} `yaml:"quiet"`
}

type webhookConfig struct {
	destinationConfig `yaml:",inline"`
	SecretFile        string `yaml:"secret_file"`
}

type brokerConfig struct {
	destinationConfig `yaml:",inline"`
	Username          string `yaml:"username"`
	PasswordFile      string `yaml:"password_file"`
	Topic             string `yaml:"topic"`
}

// any reports whether alarms go anywhere.
func (c *deliverConfig) any() bool {
	return len(c.Alertmanagers)+len(c.Webhooks)+len(c.Brokers) > 0
}

// destinations puts the settings and the files they name into options. Errors
// name the setting.
func (c *deliverConfig) destinations(o *deliver.Options) error {
	o.ExternalURL = c.Page
	for i, a := range c.Alertmanagers {
		f, err := a.filter()
		if err != nil {
			return fmt.Errorf("deliver.alertmanagers[%d].%w", i, err)
		}
		o.Alertmanagers = append(o.Alertmanagers, deliver.Alertmanager{Name: a.Name, URL: a.URL, Filter: f})
	}
	for i, w := range c.Webhooks {
		f, err := w.filter()
		if err != nil {
			return fmt.Errorf("deliver.webhooks[%d].%w", i, err)
		}
		secret, err := webhookSecret(w.SecretFile)
		if err != nil {
			return fmt.Errorf("deliver.webhooks[%d].secret_file: %w", i, err)
		}
		o.Webhooks = append(o.Webhooks, deliver.Webhook{Name: w.Name, URL: w.URL, Secret: secret, Filter: f})
	}
	for i, b := range c.Brokers {
		f, err := b.filter()
		if err != nil {
			return fmt.Errorf("deliver.brokers[%d].%w", i, err)
		}
		password := ""
		if b.PasswordFile != "" {
			if password, err = secretIn(b.PasswordFile); err != nil {
				return fmt.Errorf("deliver.brokers[%d].password_file: %w", i, err)
			}
		}
		o.Brokers = append(o.Brokers, deliver.Broker{
			Name: b.Name, URL: b.URL, Username: b.Username, Password: password, Topic: b.Topic, Filter: f,
		})
	}
	return nil
}

func (c *destinationConfig) filter() (deliver.Filter, error) {
	f := deliver.Filter{Berths: c.Berths, Level: c.Level}
	var err error
	if c.Least != "" {
		if f.Least, err = priority(c.Least); err != nil {
			return f, fmt.Errorf("least: %w", err)
		}
	}
	if c.Quiet != nil {
		if f.Quiet, err = deliver.NewQuiet(c.Quiet.From, c.Quiet.To, c.Quiet.Zone); err != nil {
			return f, fmt.Errorf("quiet: %w", err)
		}
	}
	if c.Level < 0 {
		return f, fmt.Errorf("level: %d is negative", c.Level)
	}
	return f, nil
}

// secretIn is a secret kept in a file, never logged.
func secretIn(path string) (string, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	return strings.TrimSpace(string(data)), nil
}

// webhookSecret reads a secret in the form of the Standard Webhooks
// specification: base64, with or without whsec_ before it.
func webhookSecret(path string) ([]byte, error) {
	if path == "" {
		return nil, fmt.Errorf("a file with the secret is needed: base64 of 24 to 64 bytes")
	}
	text, err := secretIn(path)
	if err != nil {
		return nil, err
	}
	secret, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(text, "whsec_"))
	if err != nil {
		return nil, fmt.Errorf("%s: expected base64 of 24 to 64 bytes", path)
	}
	return secret, nil
}

// deliveryPositions keeps in the journal how far each destination has come.
type deliveryPositions struct{ *standby.Journal }

func (p deliveryPositions) SavePosition(ctx context.Context, name string, position uint64) error {
	return p.Put(ctx, positionBucket, deliveryKey(name), []byte(strconv.FormatUint(position, 10)))
}

func (p deliveryPositions) LoadPosition(ctx context.Context, name string) (uint64, bool, error) {
	data, ok, err := p.Get(ctx, positionBucket, deliveryKey(name))
	if err != nil || !ok {
		return 0, false, err
	}
	position, err := strconv.ParseUint(string(data), 10, 64)
	return position, err == nil, err
}

// deliveryKey makes a document's name of any name.
func deliveryKey(name string) string {
	return "delivery-" + base64.RawURLEncoding.EncodeToString([]byte(name))
}
