package stay

import (
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"slices"
)

// Access says what the caller of a request may see. It finds the caller in the
// request's context.
type Access interface {
	// SeesStay reports whether the caller may see what a ship did at a berth, now or
	// once.
	SeesStay(ctx context.Context, berth, ship string) bool
}

// seen keeps those stays that the caller may see, all where access is nil.
func seen(ctx context.Context, access Access, stays []Stay) []Stay {
	if access == nil {
		return stays
	}
	return slices.DeleteFunc(stays, func(s Stay) bool { return !access.SeesStay(ctx, s.Berth, s.Ship) })
}

// Handler serves GET ?berth=…: the stays that the caller may see as JSON, newest
// first; of all berths without one.
func Handler(list func(berth string) []Stay, access Access, log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		stays := seen(r.Context(), access, list(r.URL.Query().Get("berth")))
		if stays == nil {
			stays = []Stay{}
		}
		w.Header().Set("Content-Type", "application/json")
		if err := json.NewEncoder(w).Encode(struct {
			Stays []Stay `json:"stays"`
		}{stays}); err != nil {
			log.Debug("stays not sent", "err", err)
		}
	})
}
