package deliver

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
	"google.golang.org/protobuf/encoding/protojson"

	"hawser/services/alarm"
)

// Broker is an MQTT 5 broker where sirens, beacons and pagers listen. Under Topic:
//
//	TOPIC/watch                          "up 2026-03-01T04:05:06Z" every Every, "down" when this server is gone
//	TOPIC/BERTH/state                    {"worst":"emergency","active":2,"unacknowledged":1}
//	TOPIC/BERTH/alarm/CONDITION/PLACE    an active alarm as hawser.v1.Alarm in JSON; empty when it has cleared
//
// All are retained, so that whoever connects knows at once. PLACE is the line,
// else the group, else "-"; BERTH is "server" for the server's own. A listener
// that has no news of TOPIC/watch for twice Every is to take it for down.
type Broker struct {
	Name               string
	URL                string // mqtt://HOST:1883 or mqtts://HOST:8883
	Username, Password string
	Topic              string        // default "hawser"
	Every              time.Duration // default 5 s
	Filter             Filter
}

type broker struct {
	Broker
	to    *url.URL
	conn  *autopaho.ConnectionManager
	fresh atomic.Bool   // connected anew since it was last told
	again chan struct{} // one slot, filled with fresh
	// shown is what the broker holds by topic, as far as known.
	shown map[string]string
}

func (b Broker) target() (*target, error) {
	to, err := parseURL(b.URL, "mqtt", "mqtts")
	if err != nil {
		return nil, fmt.Errorf("broker %s: %w", b.Name, err)
	}
	if b.Every < 0 {
		return nil, fmt.Errorf("broker %s: every: %s is negative", b.Name, b.Every)
	}
	b.Every = cmp.Or(b.Every, 5*time.Second)
	b.Topic = cmp.Or(b.Topic, "hawser")
	if strings.ContainsAny(b.Topic, "+#\x00") {
		return nil, fmt.Errorf("broker %s: topic: %q may have no + and #", b.Name, b.Topic)
	}
	m := &broker{Broker: b, to: to, again: make(chan struct{}, 1), shown: map[string]string{}}
	return &target{name: b.Name, filter: b.Filter, run: m.run}, nil
}

const down = "down"

// run connects and tells until ctx ends, then says that the server goes.
func (m *broker) run(ctx context.Context, d *Deliverer, t *target) {
	// The connection outlives ctx by the time it takes to say goodbye.
	life, end := context.WithCancel(context.WithoutCancel(ctx))
	defer end()
	conn, err := autopaho.NewConnection(life, m.config(d, t))
	if err != nil {
		d.o.Logger.Error("broker not to be used", "destination", t.name, "err", err)
		d.tried(t, err)
		return
	}
	m.conn = conn
	(&present{d: d, t: t, every: m.Every, tell: m.tell, again: m.again}).run(ctx)
	last, cancel := context.WithTimeout(life, 2*time.Second)
	defer cancel()
	if err := m.publish(last, m.Topic+"/watch", down); err == nil {
		_ = conn.Disconnect(last)
	}
	end()
	<-conn.Done()
}

func (m *broker) config(d *Deliverer, t *target) autopaho.ClientConfig {
	return autopaho.ClientConfig{
		ServerUrls: []*url.URL{m.to}, KeepAlive: 10, CleanStartOnInitialConnection: true,
		ConnectTimeout: httpTimeout, ConnectUsername: m.Username, ConnectPassword: []byte(m.Password),
		ReconnectBackoff: autopaho.NewExponentialBackoff(d.o.RetryMin, m.Every, d.o.RetryMin, 1.5),
		WillMessage:      &paho.WillMessage{Topic: m.Topic + "/watch", Payload: []byte(down), QoS: 1, Retain: true},
		OnConnectionUp:   func(*autopaho.ConnectionManager, *paho.Connack) { m.anew() },
		OnConnectError:   func(err error) { d.tried(t, withoutURL(err, m.to)) },
		ClientConfig:     paho.ClientConfig{ClientID: "hawser-" + m.Name},
	}
}

// anew asks for everything to be told again.
func (m *broker) anew() {
	m.fresh.Store(true)
	select {
	case m.again <- struct{}{}:
	default:
	}
}

func withoutURL(err error, u *url.URL) error {
	return errors.New(strings.ReplaceAll(err.Error(), u.String(), u.Redacted()))
}

var errAway = errors.New("no connection with the broker")

// tell brings the broker's topics to the present state, the sign of life first,
// then what is worst. What it holds already is not sent again; a new connection
// begins from nothing, for the broker may have forgotten.
func (m *broker) tell(ctx context.Context, alarms []alarm.State) error {
	ctx, cancel := context.WithTimeout(ctx, httpTimeout)
	defer cancel()
	if err := m.conn.AwaitConnection(ctx); err != nil {
		return errAway
	}
	if m.fresh.Swap(false) {
		clear(m.shown)
	}
	if err := m.publish(ctx, m.Topic+"/watch", "up "+time.Now().UTC().Format(time.RFC3339)); err != nil {
		return err
	}
	want, err := m.messages(alarms)
	if err != nil {
		return err
	}
	wanted := make(map[string]bool, len(want))
	for _, msg := range want {
		wanted[msg.topic] = true
	}
	for topic := range m.shown {
		if !wanted[topic] { // cleared, and no longer in memory
			want = append(want, message{topic, ""})
		}
	}
	for _, msg := range want {
		if err := m.show(ctx, msg); err != nil {
			return err
		}
		if !wanted[msg.topic] {
			delete(m.shown, msg.topic)
		}
	}
	return nil
}

// message is what a topic ought to hold.
type message struct{ topic, payload string }

func (m *broker) show(ctx context.Context, msg message) error {
	if held, ok := m.shown[msg.topic]; ok && held == msg.payload {
		return nil
	}
	delete(m.shown, msg.topic)
	if err := m.publish(ctx, msg.topic, msg.payload); err != nil {
		return err
	}
	m.shown[msg.topic] = msg.payload
	return nil
}

func (m *broker) publish(ctx context.Context, topic, payload string) error {
	_, err := m.conn.Publish(ctx, &paho.Publish{Topic: topic, Payload: []byte(payload), QoS: 1, Retain: true})
	return err
}

// state is the payload of a berth's state.
type state struct {
	Worst          string `json:"worst"` // "none" where nothing is active
	Active         int    `json:"active"`
	Unacknowledged int    `json:"unacknowledged"`
}

// messages is what the broker ought to hold: active alarms as they come, worst
// first, the berths' states, and nothing where an alarm has cleared: after a
// restart it is not known which of those the broker still has.
func (m *broker) messages(alarms []alarm.State) ([]message, error) {
	var active, over []message
	berths, states, topics := []string{}, map[string]*state{}, map[string]bool{}
	for i := range alarms {
		s := &alarms[i]
		berth := s.Berth
		berth = cmp.Or(berth, "server")
		sum := states[berth]
		if sum == nil {
			sum = &state{Worst: "none"}
			states[berth] = sum
			berths = append(berths, berth)
		}
		topic := m.Topic + "/" + berth + "/alarm/" + s.Condition + "/" + s.Place()
		if topics[topic] {
			continue // cleared, and active again or cleared once more since
		}
		topics[topic] = true
		if !s.Calls() {
			over = append(over, message{topic, ""})
			continue
		}
		sum.add(s)
		payload, err := compactJSON(protojson.Marshal(s.Message()))
		if err != nil {
			return nil, err
		}
		active = append(active, message{topic, string(payload)})
	}
	for _, berth := range berths {
		payload, err := json.Marshal(states[berth])
		if err != nil {
			return nil, err
		}
		active = append(active, message{m.Topic + "/" + berth + "/state", string(payload)})
	}
	return append(active, over...), nil
}

// add counts an active alarm; they come worst first.
func (s *state) add(a *alarm.State) {
	if s.Active == 0 {
		s.Worst = a.Priority.String()
	}
	s.Active++
	if a.Acknowledged() == nil {
		s.Unacknowledged++
	}
}
