package browser_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// harmless has every deed reach the server and be judged there, and nothing come of
// it: whose it is is taken out of forms, which the server answers with 400.
const harmless = `window.answers = []; const really = fetch;
window.fetch = async (path, o) => {
	if (!(o?.body instanceof URLSearchParams)) return really(path, o);
	o.body.set("by", "");
	const answer = await really(path, o);
	answers.push(path + " " + answer.status);
	return answer;
}; null`

// Each role is shown what it may do and told what it may not, on every page, and
// nothing that is shown is refused.
func TestRolesAreShownWhatTheyMayDo(t *testing.T) {
	dir, tokens := trial(t)
	s := newServer(t, "--config", filepath.Join(dir, "hawser.yaml"))
	s.send("--keys", dir)
	tab := browser(t)
	anyCertificate(t, tab)
	for _, c := range []struct{ who, parted, slips, deck, plan string }{
		{"watch",
			" Not given to your role: Acknowledge, Out of service, Note, Holds again.", " Not given to your role: Acknowledge, Shelve, Out of service, Note.",
			" Not given to your role: Acknowledge.", "Putting a plan in force is not given to your role."},
		{"acknowledge",
			"Acknowledge A,Note N Not given to your role: Out of service, Holds again.", "Acknowledge A,Note N Not given to your role: Shelve, Out of service.",
			"Acknowledge ", "Putting a plan in force is not given to your role."},
		{"operate",
			"Acknowledge A,Note N,Holds again R Not given to your role: Out of service.", "Acknowledge A,Shelve S,Note N Not given to your role: Out of service.",
			"Acknowledge ", "Put in force"},
		{"engineer",
			"Acknowledge A,Out of service O,Note N,Holds again R ", "Acknowledge A,Shelve S,Out of service O,Note N ",
			"Acknowledge ", "Put in force"},
		{"crew of Heron of Aldmouth",
			"Acknowledge A,Note N Not given to your role: Out of service, Holds again.", "Acknowledge A,Note N Not given to your role: Shelve, Out of service.",
			"Acknowledge ", "Putting a plan in force is not given to your role."},
	} {
		do(t, tab, "sign in as "+c.who, chromedp.EmulateViewport(1280, 900), chromedp.Navigate(s.pages), says("Your token"),
			chromedp.SendKeys("input[name=token]", tokens[c.who]+"\r"), shown(".alarm.open"))
		for condition, want := range map[string]string{"Line parted": c.parted, "Brake slip": c.slips} {
			if got := ask[string](t, tab, fmt.Sprintf(offeredFor, condition)); got != want {
				t.Errorf("%s is offered for %s %q, want %q", c.who, condition, got, want)
			}
		}
		accessible(t, tab)
		ask[*int](t, tab, harmless)
		refused := slices.DeleteFunc(ask[[]string](t, tab, tryAll), func(answer string) bool { return strings.HasSuffix(answer, " 400") })
		if len(refused) > 0 {
			t.Errorf("%s is offered what is refused: %q", c.who, refused)
		}

		do(t, tab, "take out a phone", chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.pages+"deck"), shown(".card"))
		if got := ask[string](t, tab, `[...document.querySelector(".card").querySelectorAll(".acknowledge, .not-given")].filter((e) => e.checkVisibility()).map((e) => e.className === "acknowledge" ? e.innerText + " " : " " + e.innerText).join("")`); got != c.deck {
			t.Errorf("%s is offered on deck %q, want %q", c.who, got, c.deck)
		}
		do(t, tab, "open the plan", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(s.pages+"plan/north-jetty-1"), holds(`document.querySelector(".versions table")`))
		if got := ask[string](t, tab, `document.querySelector(".head .deeds").lastElementChild.innerText`); got != c.plan {
			t.Errorf("%s is offered on the plan %q, want %q", c.who, got, c.plan)
		}
		accessible(t, tab)
		nothingAgainst(t, tab)
		do(t, tab, "sign out", click(".signed button"), says("Your token"))
	}
}

// offeredFor gives the buttons of an alarm, and what is said to be withheld.
const offeredFor = `(() => {
	[...document.querySelectorAll(".alarm")].find((li) => li.querySelector("b").innerText === %q).click();
	const open = document.querySelector(".alarm.open");
	return [...open.querySelectorAll(".deeds button")].map((b) => b.innerText).join(",") + " " + (open.querySelector(".not-given")?.innerText ?? "");
})()`

// tryAll does all that is offered for every alarm and gives what the server answered.
const tryAll = `(async () => {
	const rows = () => [...document.querySelectorAll(".alarm")];
	for (let i = 0; i < rows().length; i++) {
		rows()[i].click();
		const buttons = () => [...document.querySelectorAll(".alarm.open .deeds button")];
		for (let k = 0; k < buttons().length; k++) {
			const before = answers.length;
			buttons()[k].click();
			for (const e of document.querySelectorAll("dialog[open] :is(input, textarea)")) e.value = "Trial";
			document.querySelector("dialog[open] button[type=submit]")?.click();
			while (answers.length === before) await new Promise((next) => setTimeout(next, 20));
		}
	}
	return answers;
})()`
