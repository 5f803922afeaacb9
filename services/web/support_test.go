package web_test

import (
	"encoding/json"
	"regexp"
	"testing"
)

// The wire as a page reads it, kept apart from the forms it is written by.
type (
	message struct {
		At     int64
		Names  []string
		Berths map[string]*struct {
			Frame *struct {
				Ship                string
				Near, Uneven, Floor float64
				Lines               []struct {
					ID, Group  string
					MBL, Limit float64
					Winch, Pin bool
				}
			}
			Now *struct {
				Live  bool
				At    int64
				Watch *bool
				Wind  *float64
			}
			Loss *struct {
				Lost   []string
				Line   string
				Share  float64
				Adrift bool
			}
			Loads map[string]struct {
				KN     *float64
				At     int64
				Sensor string
				Payout *float64
				Brake  *bool
				Rate   *float64
				Shown  *float64
				Hidden bool
			}
			Course map[string][][4]float64
		}
		Alarms *struct {
			List []struct {
				ID, Berth, Condition, Line, Group, Priority, State, Detail, Over string
				Raised, Recorded, Cleared, Returned                              int64
				Acks                                                             []struct{ Side, By, Note string }
				Notes                                                            []struct{ Side, By, Text string }
			}
			Holds []struct {
				Berth, Condition, Line, By, Side, Reason string
				Until                                    int64
			}
			More         int
			MoreReturned int `json:"more_returned"`
		}
	}
	pageSetup struct {
		Lang, Side, Who, Berth string
		Words                  map[string]map[string]string
		Pages                  map[string]string
		Whole                  message
		Signed                 bool
	}
)

var setupData = regexp.MustCompile(`(?s)<script type="application/json" id="setup">(.*?)</script>`)

// setupOf reads what a page's script begins with.
func setupOf(t *testing.T, page string) *pageSetup {
	t.Helper()
	found := setupData.FindStringSubmatch(page)
	if found == nil {
		t.Fatalf("the page has no setup: %s", text(page))
	}
	var s pageSetup
	if err := json.Unmarshal([]byte(found[1]), &s); err != nil {
		t.Fatal(err)
	}
	return &s
}

// look reads the page of a path and gives its picture.
func (s *station) look(path string) *message {
	s.t.Helper()
	_, page := s.get(path)
	return &setupOf(s.t, page).Whole
}
