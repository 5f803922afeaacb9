package access_test

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
	"hawser/services/waittest"
)

// wantCode checks the code of an error and that it says something.
func wantCode(t *testing.T, what string, err error, code codes.Code, says string) {
	t.Helper()
	if status.Code(err) != code || !strings.Contains(status.Convert(err).Message(), says) {
		t.Errorf("%s: %v, want %s that says %q", what, err, code, says)
	}
}

// A token that is taken off the file, or whose role is changed, is worth no more
// than the file says, for calls under way as well; others are left alone. A file
// with a mistake in it changes nothing.
func TestAccessFileIsTakenUp(t *testing.T) {
	gone, goneEntry := person("gone", "{role: watch, site: true}")
	less, lessEntry := person("less", "{role: acknowledge, site: true}")
	stays, staysEntry := person("stays", "{role: watch, berth: east-3}")
	h := newHouse(t, "people:\n"+goneEntry+lessEntry+staysEntry, nil, nil)
	goneStream, lessStream, staysStream := h.watch(shows{token: gone}, ""), h.watch(shows{token: less}, ""), h.watch(shows{token: stays}, "east-3")

	h.write("access.yaml", []byte("people:\n"+staysEntry+"  - nobody\n"))
	waittest.Until(t, "the mistake to be told", func() error {
		if !strings.Contains(h.log.String(), "access.yaml:5: people[1]: must be a mapping") {
			return errors.New(h.log.String())
		}
		return nil
	})
	if who, err := h.list(shows{token: gone}, ""); err != nil || who != "gone" {
		t.Errorf("after a file with a mistake: %q, %v", who, err)
	}

	h.write("access.yaml", []byte("people:\n"+strings.Replace(lessEntry, "acknowledge", "watch", 1)+staysEntry))
	_, err := goneStream.Recv()
	wantCode(t, "the stream of who is gone", err, codes.Unauthenticated, "the token is not known here")
	_, err = lessStream.Recv()
	wantCode(t, "the stream of who may do less", err, codes.Unauthenticated, "what less may do has changed")
	_, err = h.list(shows{token: gone}, "")
	wantCode(t, "who is gone", err, codes.Unauthenticated, "not known")
	if who, err := h.list(shows{token: less}, ""); err != nil || who != "less" {
		t.Errorf("who may do less: %q, %v", who, err)
	}
	if who, err := h.list(shows{token: stays}, "east-3"); err != nil || who != "stays" {
		t.Errorf("who stays: %q, %v", who, err)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := staysStream.Recv()
		ended <- err
	}()
	select {
	case err := <-ended:
		t.Errorf("the stream of who stays: %v", err)
	default:
	}
}

// The certificate is changed while a stream is open: new connections see the new
// one, the stream goes on, and a pair that does not fit is told and left.
func TestCertificateIsTakenUp(t *testing.T) {
	token, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	stream := h.watch(shows{token: token}, "")
	names := func() string {
		var names []string
		for _, address := range []string{h.front.GRPCAddr().String(), h.front.HTTPAddr().String()} {
			conn, err := tls.Dial("tcp", address, h.clientTLS(shows{tls: func(c *tls.Config) { c.NextProtos = []string{"h2"} }}))
			must(t, err)
			names = append(names, conn.ConnectionState().PeerCertificates[0].Subject.CommonName)
			conn.Close()
		}
		return strings.Join(names, " ")
	}
	if got := names(); got != "first first" {
		t.Fatalf("certificates: %s", got)
	}
	cert, key := h.ca.server("second")
	h.write("server.crt", cert) // and for a moment its key is another's
	waittest.Until(t, "the pair that does not fit to be told", func() error {
		if !strings.Contains(h.log.String(), "private key does not match public key") {
			return errors.New(h.log.String())
		}
		return nil
	})
	if got := names(); got != "first first" {
		t.Fatalf("certificates: %s", got)
	}
	h.write("server.key", key)
	waittest.Until(t, "the second certificate", func() error {
		if got := names(); got != "second second" {
			return errors.New(got)
		}
		return nil
	})
	if who, err := h.list(shows{token: token}, ""); err != nil || who != "desk" {
		t.Errorf("call: %q, %v", who, err)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := stream.Recv()
		ended <- err
	}()
	select {
	case err := <-ended:
		t.Errorf("the stream ended: %v", err)
	default:
	}
}

// A stream does not outlive the token it was opened with.
func TestStreamEndsWithItsToken(t *testing.T) {
	token, entry := person("trainee", "{role: watch, site: true}")
	expires := time.Now().Add(3 * time.Second).UTC().Truncate(time.Second)
	h := newHouse(t, "people:\n"+entry+"    expires: "+expires.Format(time.RFC3339)+"\n", nil, nil)
	stream := h.watch(shows{token: token}, "")
	_, err := stream.Recv()
	wantCode(t, "the stream", err, codes.Unauthenticated, "what trainee showed has expired")
	if time.Now().Before(expires) {
		t.Error("it ended too early")
	}
	_, err = h.list(shows{token: token}, "")
	wantCode(t, "a call afterwards", err, codes.Unauthenticated, "the token of trainee has expired")
}

// A device is let in for the berths of its certificate and for nothing else.
func TestDevices(t *testing.T) {
	h := newHouse(t, "devices:\n  ca: ca.crt\n", nil, nil)
	east, both := "hawser://berth/east-3", "hawser://berth/west-1"
	good := h.ca.device("gateway-e", east)
	if err := h.deliver(shows{device: &good}, &hawserv1.Hello{Berth: "east-3", Source: "s"}); err != nil {
		t.Errorf("own berth: %v", err)
	}
	two := h.ca.device("gateway-b", east, both, "https://elsewhere.example/x")
	for _, berth := range []string{"east-3", "west-1"} {
		if err := h.deliver(shows{device: &two}, &hawserv1.Hello{Berth: berth, Source: "s"}); err != nil {
			t.Errorf("%s of two: %v", berth, err)
		}
	}
	for name, c := range map[string]struct {
		device tls.Certificate
		hello  *hawserv1.Hello
		code   codes.Code
		says   string
	}{
		"another berth":       {good, &hawserv1.Hello{Berth: "west-1"}, codes.PermissionDenied, "berth west-1: the certificate of device gateway-e is bound to east-3"},
		"no hello":            {good, nil, codes.InvalidArgument, "the first frame must be a hello"},
		"another plan":        {good, &hawserv1.Hello{Berth: "east-3", ReplacePlan: true}, codes.PermissionDenied, "berth east-3: device gateway-e may not replace the mooring plan"},
		"bound to nothing":    {h.ca.device("idle"), &hawserv1.Hello{Berth: "east-3"}, codes.PermissionDenied, "device idle is bound to no berth"},
		"bound to no berth":   {h.ca.device("odd", east, "hawser://berth/East%203"), &hawserv1.Hello{Berth: "east-3"}, codes.Unauthenticated, "which is no berth"},
		"bound to a path":     {h.ca.device("odd", "hawser://berth/east-3/x"), &hawserv1.Hello{Berth: "east-3"}, codes.Unauthenticated, "which is no berth"},
		"bound with a query":  {h.ca.device("odd", "hawser://berth/east-3?all"), &hawserv1.Hello{Berth: "east-3"}, codes.Unauthenticated, "which is no berth"},
		"bound to other kind": {h.ca.device("odd", "hawser://site/east-3"), &hawserv1.Hello{Berth: "east-3"}, codes.Unauthenticated, "which is no berth"},
	} {
		wantCode(t, name, h.deliver(shows{device: &c.device}, c.hello), c.code, c.says)
	}
	_, err := h.list(shows{device: &good}, "east-3")
	wantCode(t, "alarms for a device", err, codes.PermissionDenied, "device gateway-e may send readings and nothing else")
	wantCode(t, "no certificate", h.deliver(shows{}, &hawserv1.Hello{Berth: "east-3"}), codes.Unauthenticated, "a token or a device's certificate is needed")

	// What the listener does not take never gets as far as a call.
	other := newAuthority(t, "another authority").device("gateway-e", east)
	wantCode(t, "another authority", h.deliver(shows{device: &other}, &hawserv1.Hello{Berth: "east-3"}), codes.Unavailable, "")
	cert, key := h.ca.server("server as a client")
	server, err := tls.X509KeyPair(cert, key)
	must(t, err)
	wantCode(t, "a server's certificate", h.deliver(shows{device: &server}, &hawserv1.Hello{Berth: "east-3"}), codes.Unavailable, "")

	// Withdrawn while it sends.
	conn := h.dial(shows{device: &good})
	stream, err := hawserv1.NewIntakeServiceClient(conn).Deliver(within(t))
	must(t, err)
	frame := &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: "east-3"}}}
	must(t, stream.Send(frame))
	_, err = stream.Recv()
	must(t, err)
	h.write("access.yaml", []byte(fmt.Sprintf("devices:\n  ca: ca.crt\n  revoked: [%s]\n", access.HashOf(string(good.Certificate[0])))))
	waittest.Until(t, "the certificate to be withdrawn", func() error {
		err := h.deliver(shows{device: &good}, &hawserv1.Hello{Berth: "east-3"})
		if status.Code(err) != codes.Unauthenticated || !strings.Contains(err.Error(), "gateway-e has been withdrawn") {
			return fmt.Errorf("%v", err)
		}
		return nil
	})
	_ = stream.Send(frame) // its error is in Recv
	_, err = stream.Recv()
	wantCode(t, "the stream that was open", err, codes.Unauthenticated, "has been withdrawn")
}

// When the devices' authority is changed, those of the one before are out, on
// connections that stand as well.
func TestDevicesAuthorityIsChanged(t *testing.T) {
	h := newHouse(t, "devices:\n  ca: ca.crt\n", nil, nil)
	device := h.ca.device("gateway-e", "hawser://berth/east-3")
	client := hawserv1.NewIntakeServiceClient(h.dial(shows{device: &device}))
	frame := &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: "east-3"}}}
	hello := func() (hawserv1.IntakeService_DeliverClient, error) {
		stream, err := client.Deliver(within(t))
		must(t, err)
		if err := stream.Send(frame); err != nil && err != io.EOF {
			return nil, err
		}
		_, err = stream.Recv()
		return stream, err
	}
	stream, err := hello()
	must(t, err)
	h.write("ca.crt", newAuthority(t, "the next authority").PEM)
	waittest.Until(t, "the change", func() error {
		if _, err := hello(); status.Code(err) != codes.Unauthenticated || !strings.Contains(err.Error(), "gateway-e is not taken: x509: certificate signed by unknown authority") {
			return fmt.Errorf("%v", err)
		}
		return nil
	})
	_ = stream.Send(frame) // its error is in Recv
	_, err = stream.Recv()
	wantCode(t, "the stream that was open", err, codes.Unauthenticated, "gateway-e is not taken")
}

// Nothing before TLS 1.3 is spoken, by either listener.
func TestOldTLSIsRefused(t *testing.T) {
	_, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	for _, address := range []string{h.front.GRPCAddr().String(), h.front.HTTPAddr().String()} {
		for version, ok := range map[uint16]bool{tls.VersionTLS12: false, tls.VersionTLS13: true} {
			conn, err := tls.Dial("tcp", address, h.clientTLS(shows{tls: func(c *tls.Config) { c.MaxVersion, c.NextProtos = version, []string{"h2"} }}))
			if (err == nil) != ok {
				t.Errorf("%s, %s: %v", address, tls.VersionName(version), err)
			}
			if err == nil {
				conn.Close()
			}
		}
	}
}
