package history

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/history/export"
	"hawser/services/parameter"
)

// Plans gives the plan that a berth is under, as text, and its name on record;
// empty where there is none.
type Plans func(ctx context.Context, berth string) (text, fingerprint string)

// ExportHandler serves GET ?berth=…&from=…&to=…[&channel=…][&step=…]&format=parquet,
// csv or arrow: parameters as for Handler, without a channel all there are. The
// answer is as long as the span and is sent as it is read; one that cannot be ended
// is cut off.
func ExportHandler(s Store, access Access, plans Plans, log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q, format, err := parseExport(r.URL.RawQuery)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		if access != nil {
			since, ok := access.Sees(r.Context(), q.Berth)
			if !ok {
				http.Error(w, "berth "+q.Berth+": not for this caller", http.StatusForbidden)
				return
			}
			if q = from(q, since); q.From.After(q.To) {
				q.From = q.To // nothing
			}
		}
		head := export.Head{Berth: q.Berth, From: q.From, To: q.To, Step: q.Step}
		head.Plan, head.Fingerprint = plans(r.Context(), q.Berth)
		w.Header().Set("Content-Type", export.MediaType(format))
		w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=\"%s-%s.%s\"", q.Berth, q.From.UTC().Format("20060102T150405Z"), format))
		var file export.Writer // begun with its first readings, so that there may still be another answer
		err = export.Copy(r.Context(), s, q, func(results []store.Result) (err error) {
			if !slices.ContainsFunc(results, func(r store.Result) bool { return len(r.Time) > 0 }) {
				return nil
			}
			if file == nil {
				if file, err = export.New(format, w, head); err != nil {
					return err
				}
			}
			return file.Write(results)
		})
		if err == nil && file != nil {
			err = file.Close() // after an error its end is not to be there
		}
		if err != nil && r.Context().Err() == nil {
			log.Error("export cut off", "berth", q.Berth, "err", err)
		}
		switch {
		case file != nil && err != nil:
			panic(http.ErrAbortHandler) // so that nobody takes it for whole
		case file != nil:
			return
		}
		w.Header().Del("Content-Disposition")
		if err != nil {
			http.Error(w, "the store does not answer", http.StatusServiceUnavailable)
			return
		}
		http.Error(w, nothingThere(q), http.StatusNotFound)
	})
}

func nothingThere(q store.Query) string {
	of := "berth " + q.Berth
	if q.Channel != (reading.Channel{}) {
		of += ", channel " + q.Channel.String()
	}
	return fmt.Sprintf("%s: no readings from %s to %s", of, q.From.UTC().Format(time.RFC3339Nano), q.To.UTC().Format(time.RFC3339Nano))
}

// parseExport reads the parameters; the span is taken to whole steps.
func parseExport(raw string) (q store.Query, format string, err error) {
	v, err := parameter.Read(raw, "berth", "channel", "from", "to", "step", "format")
	if err != nil {
		return q, "", err
	}
	if q, err = spanOf(v, "berth", "from", "to", "format"); err != nil {
		return q, "", err
	}
	format = v.Get("format")
	if export.MediaType(format) == "" {
		return q, "", fmt.Errorf("format: %q is none of parquet, csv, arrow", format)
	}
	if _, _, _, err := q.Normalise(); err != nil && !errors.Is(err, store.ErrTooManyPoints) {
		return q, "", err
	}
	if step := int64(q.Step); step > 0 {
		first, last := q.From.UnixNano(), q.To.UnixNano()
		first -= first % step
		if over := last % step; over > 0 {
			last += step - over
		}
		q.From, q.To = time.Unix(0, first).UTC(), time.Unix(0, last).UTC()
	}
	return q, format, nil
}
