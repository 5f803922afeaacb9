package access

import (
	"errors"
	"fmt"
	"net/http"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// why is the kind of a refusal, as the audit log and the metrics have it.
type why string

// The kinds of refusal.
const (
	notSignedIn why = "not-signed-in" // nobody knows who it is
	notAllowed  why = "not-allowed"   // it is known who, and they may not
	tooMuch     why = "too-much"      // more, or more at a time, than one caller may
	unfit       why = "unfit"         // it cannot be told what the call is about
	notNow      why = "not-now"       // who it is cannot be found out at present
)

// refusal is the error of a call that is not let in, or no longer.
type refusal struct {
	why  why
	text string
}

func refuse(w why, format string, args ...any) *refusal {
	return &refusal{why: w, text: fmt.Sprintf(format, args...)}
}

func (r *refusal) Error() string { return r.text }

// GRPCStatus makes the refusal the status of a call.
func (r *refusal) GRPCStatus() *status.Status {
	code := codes.PermissionDenied
	switch r.why {
	case notSignedIn:
		code = codes.Unauthenticated
	case tooMuch:
		code = codes.ResourceExhausted
	case unfit:
		code = codes.InvalidArgument
	case notNow:
		code = codes.Unavailable
	}
	return status.New(code, r.text)
}

// httpCode is the refusal as the status of a request.
func (r *refusal) httpCode() int {
	switch r.why {
	case notSignedIn:
		return http.StatusUnauthorized
	case tooMuch:
		return http.StatusTooManyRequests
	case unfit:
		return http.StatusBadRequest
	case notNow:
		return http.StatusServiceUnavailable
	}
	return http.StatusForbidden
}

// refusalIn finds a refusal among what an error wraps; any other error is one of
// a part that cannot say.
func refusalIn(err error) *refusal {
	var r *refusal
	if errors.As(err, &r) {
		return r
	}
	return refuse(notNow, "%v", err)
}
