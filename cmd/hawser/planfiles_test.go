package main

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// What somebody put in force in the place of a plan file's plan stays so when the
// server starts again on that file, and a source that began under the file's plan goes
// on. A file that was written anew is put in force.
func TestPlanFileDoesNotUndoWhatPeopleDid(t *testing.T) {
	t.Parallel()
	_, first, err := planfile.Load(planFile("tanker-12"))
	if err != nil {
		t.Fatal(err)
	}
	tightened := func(by float64) *hawserv1.MooringPlan {
		m := proto.CloneOf(first)
		m.Lines[0].PretensionKn += by
		return m
	}
	file := filepath.Join(t.TempDir(), "plan.yaml")
	text := func(m *hawserv1.MooringPlan) []byte {
		y, err := planfile.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		return y
	}
	write := func(m *hawserv1.MooringPlan) {
		if err := os.WriteFile(file, text(m), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(first)
	data := t.TempDir()
	s := startServe(t, data, "--plan", file)
	inForce := func(s *server, want *hawserv1.MooringPlan, when string) {
		t.Helper()
		if got, err := s.get("/api/plan/text?berth=" + first.Berth); err != nil || got != string(text(want)) {
			t.Errorf("%s another plan is in force: %v\n%s", when, err, got)
		}
	}
	inForce(s, first, "at first")

	req, err := http.NewRequestWithContext(t.Context(), http.MethodPut, "http://"+s.http+"/api/plan?berth="+first.Berth+"&by=J.+Alder", bytes.NewReader(text(tightened(5))))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("If-Match", `"`+planfile.Fingerprint(first)+`"`)
	res, err := http.DefaultClient.Do(req)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("put: %v, %v", res, err)
	}
	res.Body.Close()
	s.kill()

	s = startServe(t, data, "--plan", file)
	inForce(s, tightened(5), "after a start on the file that was replaced")
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, record(t, "tanker-12", 21, nil))
	inForce(s, tightened(5), "after a source that began under it")
	s.kill()

	write(tightened(9))
	s = startServe(t, data, "--plan", file)
	inForce(s, tightened(9), "after a start on a file written anew")
	s.kill()

	write(first) // back again: the one in force is a file's as well
	inForce(startServe(t, data, "--plan", file), first, "after a start on the first file")
}
