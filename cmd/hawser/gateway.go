package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	"hawser/services/access/keyring"
)

// gatewayOptions are the flags by which a gateway knows a server's gRPC services and
// shows who it is.
type gatewayOptions struct {
	ca, cert, key, keys, token string
}

func (o *gatewayOptions) bind(f *pflag.FlagSet) {
	f.StringVar(&o.ca, "ca", "", "`FILE` of the authority that the server's certificate is of (PEM); with it the connection is TLS")
	f.StringVar(&o.cert, "cert", "", "`FILE` of this device's certificate (PEM)")
	f.StringVar(&o.key, "key", "", "`FILE` of its private key (PEM)")
	f.StringVar(&o.keys, "keys", "", "`FOLDER` that hawser keys made, in place of the three")
	f.StringVar(&o.token, "token-file", "", "`FILE` with a person's token, for what no device may do")
}

// settle puts the names of a folder of keys in and checks that the rest goes
// together: without --ca the server is called in clear.
func (o *gatewayOptions) settle() error {
	switch {
	case o.keys != "" && (o.ca != "" || o.cert != "" || o.key != ""):
		return errors.New("--keys: stands in place of --ca, --cert and --key")
	case o.keys != "":
		o.ca = filepath.Join(o.keys, keyring.CAFile)
		o.cert = filepath.Join(o.keys, keyring.DeviceCertFile)
		o.key = filepath.Join(o.keys, keyring.DeviceKeyFile)
	case (o.cert == "") != (o.key == ""):
		return errors.New("--cert and --key: one needs the other")
	case o.ca == "" && (o.cert != "" || o.token != ""):
		return errors.New("--ca: is needed where --cert or --token-file is, for they go over TLS only")
	}
	return nil
}

// tls is the client's side of the connection, nil where nothing is said of it.
func (o *gatewayOptions) tls() (*tls.Config, error) {
	if o.ca == "" {
		return nil, nil
	}
	pool, err := authorityIn(o.ca)
	if err != nil {
		return nil, err
	}
	c := &tls.Config{MinVersion: tls.VersionTLS13, NextProtos: []string{"h2"}, RootCAs: pool}
	if o.cert != "" {
		pair, err := tls.LoadX509KeyPair(o.cert, o.key)
		if err != nil {
			return nil, fmt.Errorf("%s and %s: %w", o.cert, o.key, err)
		}
		// Shown whatever authority the server asks for, so that it says what is wrong.
		c.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &pair, nil }
	}
	return c, nil
}

// dial makes what a connection to a server needs. A server that is there and
// cannot be talked to in this way is an error at once: trying again would not
// help.
func (o *gatewayOptions) dial(ctx context.Context, address string) ([]grpc.DialOption, error) {
	config, err := o.tls()
	if err != nil {
		return nil, err
	}
	if err := greet(ctx, address, config); err != nil {
		return nil, err
	}
	if config == nil {
		return []grpc.DialOption{grpc.WithTransportCredentials(insecure.NewCredentials())}, nil
	}
	options := []grpc.DialOption{grpc.WithTransportCredentials(credentials.NewTLS(config))}
	if o.token != "" {
		token, err := tokenIn(o.token)
		if err != nil {
			return nil, err
		}
		options = append(options, grpc.WithPerRPCCredentials(bearerToken(token)))
	}
	return options, nil
}

// bearerToken goes with each call, over TLS only.
type bearerToken string

func (t bearerToken) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(t)}, nil
}

func (bearerToken) RequireTransportSecurity() bool { return true }

// greetTime is how long a server may take to show what it speaks.
const greetTime = 5 * time.Second

// greet finds out what a server speaks, before anything is sent again and again
// to one that will never take it. That there is no server yet is no error.
func greet(ctx context.Context, address string, config *tls.Config) error {
	ctx, cancel := context.WithTimeout(ctx, greetTime)
	defer cancel()
	var d net.Dialer
	conn, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil // to be tried again
	}
	defer conn.Close()
	_ = conn.SetDeadline(time.Now().Add(greetTime))
	hello := &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2"}} // to see whether it is TLS, no more
	if config != nil {
		hello = config.Clone()
		hello.ServerName, _, _ = net.SplitHostPort(address)
	}
	client := tls.Client(conn, hello)
	err = client.HandshakeContext(ctx)
	var clear tls.RecordHeaderError
	switch {
	case config == nil && err == nil:
		return fmt.Errorf("the server at %s speaks TLS: give --ca, and --cert and --key, or --keys", address)
	case config == nil:
		return nil
	case errors.As(err, &clear):
		return fmt.Errorf("the server at %s does not speak TLS", address)
	case isUntrusted(err):
		return fmt.Errorf("the server at %s is not who it should be: %w", address, err)
	case err != nil:
		return nil // a line that was cut, to be tried again
	}
	// What the server thinks of our certificate comes after the handshake (RFC 8446,
	// 4.4.2), in place of the first bytes it would send.
	_, err = client.Read(make([]byte, 1))
	if isAlert(err) {
		return fmt.Errorf("the server at %s does not take the certificate: %w", address, err)
	}
	return nil
}

func isUntrusted(err error) bool {
	var verification *tls.CertificateVerificationError
	return errors.As(err, &verification) || isAlert(err)
}

// isAlert reports whether the other side said by TLS what it does not like.
func isAlert(err error) bool {
	var op *net.OpError
	return errors.As(err, &op) && op.Op == "remote error"
}
