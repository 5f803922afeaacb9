package reckon

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"github.com/klauspost/compress/gzhttp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/parameter"
)

// askedFor bounds the time that a question by HTTP may take, its wait for others
// included.
const askedFor = 20 * time.Second

// Routes gives what a page asks of a berth as it is, or of a plan, by HTTP: the answers
// are the schema's messages as JSON.
//
//	GET /api/assess?berth=[&hours=24][&tending=true][&wind=12]  AssessResponse
//	GET /api/losses[?berth=]                                    ListLossesResponse
//	POST /api/plan/assess?speed=18&from=300                     AssessResponse of the plan sent, as YAML, in a wind
func Routes(s *Service, log *slog.Logger) map[string]http.Handler {
	return map[string]http.Handler{
		// A day's loads are long and much alike.
		"GET /api/assess": gzhttp.GzipHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			req, err := question(r.URL.RawQuery)
			if err != nil {
				http.Error(w, err.Error(), http.StatusBadRequest)
				return
			}
			ctx, cancel := context.WithTimeout(r.Context(), askedFor)
			defer cancel()
			resp, err := s.Assess(ctx, req)
			reply(w, r, log, resp, err)
		})),
		"GET /api/losses": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			resp, err := s.ListLosses(r.Context(), &hawserv1.ListLossesRequest{Berth: r.URL.Query().Get("berth")})
			reply(w, r, log, resp, err)
		}),
		"POST /api/plan/assess": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			req, code, err := planQuestion(w, r)
			if err != nil {
				http.Error(w, err.Error(), code)
				return
			}
			ctx, cancel := context.WithTimeout(r.Context(), askedFor)
			defer cancel()
			resp, err := s.Assess(ctx, req)
			reply(w, r, log, resp, err)
		}),
	}
}

// planQuestion reads what is asked of a plan, or says why it is none and with which
// status; the service checks its bounds.
func planQuestion(w http.ResponseWriter, r *http.Request) (req *hawserv1.AssessRequest, code int, err error) {
	q, err := parameter.Read(r.URL.RawQuery, "speed", "from")
	if err == nil {
		err = q.Need("speed", "from")
	}
	if err != nil {
		return nil, http.StatusBadRequest, err
	}
	var wind hawserv1.Wind
	if wind.SpeedMps, err = q.Number("speed"); err != nil {
		return nil, http.StatusBadRequest, err
	}
	if wind.FromDeg, err = q.Number("from"); err != nil {
		return nil, http.StatusBadRequest, err
	}
	text, code, err := parameter.Text(w, r, planfile.MaxBytes, "a plan")
	if err != nil {
		return nil, code, err
	}
	_, plan, err := planfile.Parse("", text)
	if err != nil {
		return nil, http.StatusUnprocessableEntity, err
	}
	return &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Plan{Plan: plan}, Wind: &wind}, http.StatusOK, nil
}

// question reads what is asked; the service checks its bounds.
func question(query string) (*hawserv1.AssessRequest, error) {
	q, err := parameter.Read(query, "berth", "hours", "tending", "wind")
	if err != nil {
		return nil, err
	}
	req := &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: q.Get("berth")}}
	hours, err := q.Number("hours")
	if err != nil {
		return nil, err
	}
	if q.Get("hours") != "" {
		req.Ahead = &hawserv1.HoursAhead{Hours: hours}
	}
	if req.Tending, err = q.Bool("tending"); err != nil {
		return nil, err
	}
	if text := q.Get("wind"); text != "" {
		n, err := strconv.ParseUint(text, 10, 32)
		if err != nil {
			return nil, errors.New("wind: must be a number of directions")
		}
		req.WindDirections = uint32(n)
	}
	return req, nil
}

// reply writes a message as JSON, or the error as its HTTP status.
func reply(w http.ResponseWriter, r *http.Request, log *slog.Logger, m proto.Message, err error) {
	if r.Context().Err() != nil {
		return // nobody is there to answer
	}
	if err != nil {
		http.Error(w, status.Convert(err).Message(), httpCode(status.Code(err)))
		return
	}
	data, err := protojson.MarshalOptions{EmitUnpopulated: true}.Marshal(m)
	if err != nil {
		log.Error("assessment not written", "err", err)
		http.Error(w, "the answer could not be written", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data) // the reader may be gone
}

func httpCode(c codes.Code) int {
	switch c {
	case codes.InvalidArgument:
		return http.StatusBadRequest
	case codes.PermissionDenied:
		return http.StatusForbidden
	case codes.FailedPrecondition:
		return http.StatusConflict // no loads to reckon from
	case codes.DeadlineExceeded:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}
