package deliver

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"google.golang.org/protobuf/encoding/protojson"

	"hawser/services/alarm"
)

// Webhook is an address that is told of every change of an alarm, in order, by
// the Standard Webhooks specification 1.0: the body
//
//	{"type":"alarm.raised","timestamp":"…","data":{…hawser.v1.AlarmRecord…}}
//
// with the headers webhook-id, webhook-timestamp and webhook-signature (HMAC of
// SHA-256). The identifier is the same however often a record is sent, so that
// the receiver can tell repeats. Any answer of 2xx is a receipt; 400, 413 and 422
// pass the record over; anything else is tried again, as long as it takes, and
// what comes after waits.
type Webhook struct {
	Name string
	URL  string
	// Secret signs, 24 to 64 bytes as the specification asks.
	Secret []byte
	Filter Filter
}

// The specification's bounds of a secret, bytes.
const secretMin, secretMax = 24, 64

type webhook struct {
	to     *url.URL
	signer *standardwebhooks.Webhook
	client *http.Client
}

func (w Webhook) target() (*target, error) {
	to, err := parseURL(w.URL, "http", "https")
	if err != nil {
		return nil, fmt.Errorf("webhook %s: %w", w.Name, err)
	}
	if n := len(w.Secret); n < secretMin || n > secretMax {
		return nil, fmt.Errorf("webhook %s: secret of %d bytes, expected %d to %d", w.Name, n, secretMin, secretMax)
	}
	signer, err := standardwebhooks.NewWebhookRaw(w.Secret)
	if err != nil {
		return nil, fmt.Errorf("webhook %s: %w", w.Name, err)
	}
	hook := webhook{to, signer, newClient()}
	return &target{name: w.Name, filter: w.Filter, run: func(ctx context.Context, d *Deliverer, t *target) {
		defer hook.client.CloseIdleConnections()
		(&follow{d: d, t: t, send: hook.send}).run(ctx)
	}}, nil
}

func transitionType(t alarm.Transition) string {
	switch t {
	case alarm.Raised, alarm.Unsuppressed: // of which the receiver has not heard before
		return "alarm.raised"
	case alarm.Cleared:
		return "alarm.cleared"
	case alarm.Acknowledged:
		return "alarm.acknowledged"
	case alarm.Escalated:
		return "alarm.escalated"
	case alarm.PutOnShelf:
		return "alarm.shelved"
	case alarm.TakenOutOfService:
		return "alarm.out-of-service"
	case alarm.Noted:
		return "alarm.noted"
	case alarm.HoldEnded:
		return "alarm.hold-ended"
	}
	return "alarm.changed"
}

func (h *webhook) send(ctx context.Context, r *alarm.Record) error {
	data, err := compactJSON(protojson.Marshal(r.Message()))
	if err != nil {
		return err
	}
	body, err := json.Marshal(struct {
		Type      string          `json:"type"`
		Timestamp time.Time       `json:"timestamp"`
		Data      json.RawMessage `json:"data"`
	}{transitionType(r.Transition), r.Recorded, data})
	if err != nil {
		return err
	}
	id, now := "alarms-"+strconv.FormatUint(r.Position, 10), time.Now()
	signature, err := h.signer.Sign(id, now, body)
	if err != nil {
		return err
	}
	header := http.Header{}
	header.Set(standardwebhooks.HeaderWebhookID, id)
	header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	header.Set(standardwebhooks.HeaderWebhookSignature, signature)
	return post(ctx, h.client, h.to, body, header)
}

// compactJSON takes out the spaces, which protojson puts in at random.
func compactJSON(data []byte, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := json.Compact(&b, data); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
