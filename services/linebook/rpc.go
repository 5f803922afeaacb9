package linebook

import (
	"context"
	"errors"
	"log/slog"
	"net/http"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/parameter"
)

// Access says what the caller of a call may see, and who that is. It finds the
// caller in the call's context.
type Access interface {
	// SeesShip reports whether the caller may see a berth while this ship is there.
	SeesShip(ctx context.Context, berth, ship string) bool
	// SeesSite reports whether the caller may see all there is.
	SeesSite(ctx context.Context) bool
	// Signed is what goes on record where the caller gives by as their name.
	Signed(ctx context.Context, by string) (name, role string, ship bool)
}

// Query is which records are asked for.
type Query struct {
	Berth   string // "" for every one
	Ship    string // "" for those at the berths now
	Retired bool
	Cells   bool
}

// List answers a query, with what the caller may see, all where access is nil. Of a
// ship that is at no berth only who may see the whole site sees anything.
func (b *Book) List(ctx context.Context, access Access, o Query) (*hawserv1.ListLinesResponse, error) {
	var away *ship
	if o.Ship != "" {
		s, err := b.ship(ctx, o.Ship) // from her document where she is away
		if err != nil {
			return nil, err
		}
		away = s
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	out := &hawserv1.ListLinesResponse{Position: float64(b.position), BatchesMissed: float64(b.missed), Caveats: caveats()}
	for _, s := range b.shipsAt(o.Berth) {
		if o.Ship != "" && s.Name != o.Ship {
			continue
		}
		away = nil
		if access == nil || b.seen(ctx, access, s) {
			out.Lines = append(out.Lines, b.list(s, o)...)
		}
	}
	if away != nil && o.Berth == "" && (access == nil || access.SeesSite(ctx)) {
		out.Lines = append(out.Lines, b.list(away, o)...)
	}
	return out, nil
}

// seen reports whether the caller may see a ship where she is.
func (b *Book) seen(ctx context.Context, access Access, s *ship) bool {
	for _, at := range b.berths {
		if at.ship == s && access.SeesShip(ctx, at.name, s.Name) {
			return true
		}
	}
	return false
}

// Service is the LineService over a Book.
type Service struct {
	hawserv1.UnimplementedLineServiceServer
	book   *Book
	access Access
}

// NewService serves a book, to everybody where access is nil.
func NewService(b *Book, access Access) *Service { return &Service{book: b, access: access} }

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterLineServiceServer(r, s) }

// ListLines gives records.
func (s *Service) ListLines(ctx context.Context, req *hawserv1.ListLinesRequest) (*hawserv1.ListLinesResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	out, err := s.book.List(ctx, s.access, Query{Berth: req.Berth, Ship: req.Ship, Retired: req.IncludeRetired, Cells: req.IncludeCells})
	if err != nil {
		return nil, toStatus(err)
	}
	if size := proto.Size(out); size > mostBytes {
		return nil, status.Errorf(codes.ResourceExhausted, "the records of %d lines are %d bytes, over %d: ask for a berth, or without cells", len(out.Lines), size, mostBytes)
	}
	return out, nil
}

// mostBytes is the size of an answer that any client takes.
const mostBytes = 4<<20 - 1<<10

// RecordRope puts on record what was done to a rope.
func (s *Service) RecordRope(ctx context.Context, req *hawserv1.RecordRopeRequest) (*hawserv1.RecordRopeResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	t := Told{Kind: int(req.Kind), Berth: req.Berth, Line: req.Line, Rope: req.Rope, By: req.By, Note: req.Note}
	if req.DoneAt != nil {
		t.Done = req.DoneAt.AsTime()
	}
	if s.access != nil {
		t.By, t.Role, _ = s.access.Signed(ctx, req.By)
	}
	if err := s.book.RecordRope(ctx, t); err != nil {
		return nil, toStatus(err)
	}
	all, err := s.book.List(ctx, s.access, Query{Berth: req.Berth})
	if err != nil {
		return nil, toStatus(err)
	}
	for _, l := range all.Lines {
		if l.Line == req.Line {
			return &hawserv1.RecordRopeResponse{Line: l}, nil
		}
	}
	return &hawserv1.RecordRopeResponse{}, nil // she has left meanwhile
}

func toStatus(err error) error {
	code := codes.Unavailable
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	case errors.Is(err, ErrNoLine), errors.Is(err, ErrNoReading):
		code = codes.NotFound
	case errors.Is(err, ErrPlanSays), errors.Is(err, ErrInUse):
		code = codes.FailedPrecondition
	case errors.Is(err, ErrNotYet):
		code = codes.InvalidArgument
	}
	return status.Error(code, err.Error())
}

// Handler serves GET ?berth=…&ship=…&retired=true&cells=true, all of it optional, as
// the JSON of ListLinesResponse.
func Handler(b *Book, access Access, log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q, err := parseQuery(r.URL.RawQuery)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		out, err := b.List(r.Context(), access, q)
		if err != nil {
			if r.Context().Err() == nil {
				log.Error("line records not read", "err", err)
				http.Error(w, "the line records cannot be read", http.StatusServiceUnavailable)
			}
			return
		}
		body, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}.Marshal(out)
		if err != nil {
			log.Error("line records not written", "err", err)
			http.Error(w, "the line records cannot be written", http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		if _, err := w.Write(body); err != nil {
			log.Debug("line records not sent", "err", err)
		}
	})
}

func parseQuery(raw string) (q Query, err error) {
	v, err := parameter.Read(raw, "berth", "ship", "retired", "cells")
	if err != nil {
		return q, err
	}
	q.Berth, q.Ship = v.Get("berth"), v.Get("ship")
	if q.Retired, err = v.Bool("retired"); err != nil {
		return q, err
	}
	q.Cells, err = v.Bool("cells")
	return q, err
}
