package browser_test

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"google.golang.org/protobuf/proto"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// write puts a text into the editor as if it had been pasted.
func write(t *testing.T, text string) chromedp.Action[chromedp.Void] {
	t.Helper()
	quoted, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	return holds(fmt.Sprintf(`(() => {
	  const a = document.querySelector("textarea");
	  a.value = %s;
	  a.dispatchEvent(new Event("input", { bubbles: true }));
	  return true;
	})()`, quoted))
}

// What the drawing makes of plans that nobody has tried: as few and as many lines as
// there may be, all at one hook, none with a load pin, on a ship far too small. Labels
// meet in none of them.
func TestAnyPlanIsDrawn(t *testing.T) {
	_, carrier, err := planfile.Load(planPath("carrier-20"))
	if err != nil {
		t.Fatal(err)
	}
	_, coaster, err := planfile.Load(planPath("coaster-8"))
	if err != nil {
		t.Fatal(err)
	}
	cases := map[string]*hawserv1.MooringPlan{"as they are": carrier}
	six := proto.CloneOf(coaster)
	six.Lines = append(six.Lines[:1], six.Lines[2:7]...)
	cases["six lines on 80 m"] = six
	one := proto.CloneOf(coaster)
	one.Lines = one.Lines[:1]
	cases["one line"] = one
	most := proto.CloneOf(carrier)
	for k := 0; len(most.Lines) < 64; k++ {
		l := proto.CloneOf(carrier.Lines[k%20])
		l.Id = fmt.Sprintf("EXTRA-%d", k)
		most.Lines = append(most.Lines, l)
	}
	cases["64 lines with long names"] = most
	hook := proto.CloneOf(carrier)
	for _, l := range hook.Lines {
		l.Hook = []float64{10, -44, 8}
		l.Instrumented = proto.Bool(false)
	}
	cases["one hook, no pins"] = hook
	s := newServer(t)
	tab := browser(t)
	for name, m := range cases {
		m.Berth = "any-1"
		text, err := planfile.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		for _, width := range []int64{390, 1280, 2560} {
			do(t, tab, "draw "+name, chromedp.EmulateViewport(width, 1000), chromedp.Navigate(s.pages+"plan/any-1"), holds(`document.querySelector("textarea") !== null`),
				write(t, string(text)), holds(fmt.Sprintf(`document.querySelectorAll(".label").length === %d`, len(m.Lines))))
			var bad []string
			if err := json.Unmarshal([]byte(ask[string](t, tab, overlaps)), &bad); err != nil || len(bad) > 0 {
				t.Errorf("%s at %d px: %.300q %v", name, width, bad, err)
				shootAs(t, tab, fmt.Sprintf("any-%d-%d", len(m.Lines), width))
			}
		}
	}
}

// A plan is changed: a mistake is marked at its place, the mooring is drawn once it
// is none, the change is told against the plan in force, and it is put in force under
// a name. Another page sees the version, and what it was can be put back.
func TestPlanPage(t *testing.T) {
	data, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	s := newServer(t, "--plan", plan)
	tab, other := browser(t), browser(t)
	do(t, tab, "open", chromedp.EmulateViewport(1440, 1100), chromedp.Navigate(s.pages+"plan/north-jetty-1"),
		says("This is the plan in force."), holds(`document.querySelectorAll(".label").length === 12`), says("plan file"))
	shootAs(t, tab, "plan")
	if !ask[bool](t, tab, `[...document.querySelectorAll("button")].find((b) => b.textContent === "Put in force").disabled`) {
		t.Error("the plan in force can be put in force again")
	}

	wrong := strings.Replace(text, "beam_m: 32.2", "beam_m: wide", 1)
	do(t, tab, "make a mistake", write(t, wrong), says("1 fault: this is no plan yet."), says("Line 7, column 11"), says("ship.beam_m"))
	shootAs(t, tab, "errors")
	accessible(t, tab)
	if marked := ask[string](t, tab, `document.querySelector(".behind mark").textContent`); marked != "wide" {
		t.Errorf("marked is %q, want what is wrong", marked)
	}
	do(t, tab, "go there", chromedp.Click(chromedp.CSS(".faults button")),
		holds(`document.activeElement.tagName === "TEXTAREA" && document.activeElement.value.slice(document.activeElement.selectionStart, document.activeElement.selectionEnd) === "wide"`))

	// A weaker tail than the line is serious by the rules of the remarks.
	better := strings.Replace(text, "length_m: 11, diameter_mm: 64, mbl_kN: 860", "length_m: 11, diameter_mm: 64, mbl_kN: 600", 1)
	do(t, tab, "put it right", write(t, better), says("A plan with 12 changes against the one in force."), says("tail.mbl_kN"), says("Serious."))
	shootAs(t, tab, "changes")
	do(t, tab, "by night", media("prefers-color-scheme", "dark"))
	accessible(t, tab)
	do(t, tab, "put it in force", holds(`[...document.querySelectorAll("button")].find((b) => b.textContent === "Put in force").click() === undefined`),
		chromedp.SendKeys(chromedp.CSS("dialog input"), "J. Alder"), chromedp.Click(chromedp.CSS("dialog button[type=submit]")), says("Put in force."), says("J. Alder"))
	shootAs(t, tab, "put")
	do(t, other, "see it on another page", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"plan/north-jetty-1"), says("J. Alder"), says("This is the plan in force."))
	shootAs(t, other, "plan-390")
	noWider(t, other)
	accessible(t, other)
	do(t, other, "open what it was", holds(`document.querySelectorAll(".versions tbody button").length === 2`),
		holds(`document.querySelectorAll(".versions tbody button")[1].click() === undefined`), says("A plan with 12 changes against the one in force."))
	nothingAgainst(t, tab)
	nothingAgainst(t, other)
}

// What the text's mooring bears in a wind is asked on the page: what is wrong with the
// wind is told as the server says it, and an answer goes when the text is another.
func TestPlanInAWind(t *testing.T) {
	data, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	s := newServer(t, "--plan", plan)
	tab := browser(t)
	blows := func(speed, from string) chromedp.Action[chromedp.Void] {
		return holds(fmt.Sprintf(`(([a, b]) => { a.value = %q; b.value = %q; document.querySelector(".wind-form button").click(); return true; })(document.querySelectorAll(".wind-form input"))`, speed, from))
	}
	do(t, tab, "open", chromedp.EmulateViewport(1440, 1100), chromedp.Navigate(s.pages+"plan/north-jetty-1"), says("This is the plan in force."), holds(`!document.querySelector(".wind-form button").disabled`))
	do(t, tab, "ask about too much", blows("90", "48"), says("wind.speed_mps: must be greater than or equal to 0 and less than or equal to 80"))
	do(t, tab, "ask about no number", blows("fresh", "48"), says("speed: must be a number"))
	do(t, tab, "ask about a breeze", blows("8", "48"), says("In 8.0 m/s (16 kn) from 048°. Loads in kN, beside each what it may be."), holds(`document.querySelectorAll(".in-wind tbody tr").length === 12`), gone(".in-wind .bad"),
		says("No line lost brings another to its working load limit then."), says("An estimate, not permission."))
	accessible(t, tab)
	do(t, tab, "ask about a storm", blows("36,5", "48"), says("In 36.5 m/s (71 kn) from 048°."), shown(".in-wind tr.bad"), says("OVER"), holds(`/Without line \d+/.test(document.querySelector(".in-wind").innerText)`))
	shootAs(t, tab, "wind")
	do(t, tab, "on a phone", chromedp.EmulateViewport(390, 844))
	noWider(t, tab)
	do(t, tab, "make a mistake", write(t, strings.Replace(string(data), "beam_m: 32.2", "beam_m: wide", 1)), says("1 fault: this is no plan yet."), gone(".in-wind table"), holds(`document.querySelector(".wind-form button").disabled`))
	nothingAgainst(t, tab)
}
