package query

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"

	"github.com/prometheus/prometheus/promql"
)

// answer is the frame of every answer.
type answer struct {
	Status    string          `json:"status"`
	Data      json.RawMessage `json:"data,omitempty"`
	ErrorType string          `json:"errorType,omitempty"`
	Error     string          `json:"error,omitempty"`
	Warnings  []string        `json:"warnings,omitempty"`
}

func marshal(v any) (json.RawMessage, error) {
	text, err := json.Marshal(v)
	return text, err
}

// handler reads the form, calls and writes the answer.
func (a *API) handler(call func(*http.Request, *form) (data any, warnings []string, err error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f := readForm(r)
		out, code := answer{Status: "success"}, http.StatusOK
		data, warnings, err := any(nil), []string(nil), f.err
		if err == nil {
			data, warnings, err = call(r, f)
		}
		if err == nil {
			out.Warnings = warnings
			out.Data, err = marshal(data)
		}
		if err != nil {
			if r.Context().Err() != nil {
				return // nobody is there to answer
			}
			out = answer{Status: "error", Error: err.Error()}
			out.ErrorType, code = kindOf(err)
			if code == http.StatusInternalServerError {
				a.o.Log.Error("query not answered", "query", f.text("query"), "err", err)
				out.Error = "the store does not answer"
			}
		}
		text, err := marshal(out)
		if err != nil { // it is text and JSON made before
			a.o.Log.Error("answer to a query not written", "err", err)
			code = http.StatusInternalServerError
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(code)
		if _, err := w.Write(text); err != nil {
			a.o.Log.Debug("answer to a query not sent", "err", err)
		}
	})
}

// kindOf is the type and status that Prometheus's HTTP API gives an error.
func kindOf(err error) (string, int) {
	var (
		bad      badData
		timeout  promql.ErrQueryTimeout
		canceled promql.ErrQueryCanceled
		stored   promql.ErrStorage
	)
	switch {
	case errors.As(err, &bad):
		return "bad_data", http.StatusBadRequest
	case errors.As(err, &timeout), errors.Is(err, context.DeadlineExceeded):
		return "timeout", http.StatusServiceUnavailable
	case errors.As(err, &canceled):
		return "canceled", http.StatusServiceUnavailable
	case errors.As(err, &stored):
		return "internal", http.StatusInternalServerError
	}
	return "execution", http.StatusUnprocessableEntity
}
