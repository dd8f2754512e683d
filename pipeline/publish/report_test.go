package publish

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"golang.org/x/net/html"
)

// element is one element of a page, with the text right in it.
type element struct {
	name, text string
	attr       map[string]string
}

func elements(t *testing.T, page string) []element {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var out []element
	for n := range root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		e := element{name: n.Data, attr: map[string]string{}}
		for _, a := range n.Attr {
			e.attr[a.Key] = a.Val
		}
		for c := range n.ChildNodes() {
			if c.Type == html.TextNode {
				e.text += c.Data
			}
		}
		out = append(out, e)
	}
	return out
}

// Values from the data are text, whatever they hold; the only script is the
// report's own, which is the one that the policy allows; nothing is fetched.
func TestReportEscapes(t *testing.T) {
	page := contents(t, run(t, handful(t)), "report.html")
	scripts, hostile := 0, 0
	for _, e := range elements(t, page) {
		switch e.name {
		case "script":
			scripts++
			digest := sha256.Sum256([]byte(e.text))
			if policy := "script-src 'sha256-" + base64.StdEncoding.EncodeToString(digest[:]) + "'"; e.text != reportJS || !strings.Contains(strings.ReplaceAll(strings.ReplaceAll(page, "&#39;", "'"), "&#43;", "+"), policy) {
				t.Errorf("a script that the policy does not allow: %.80q", e.text)
			}
		case "img", "iframe", "object", "embed", "link", "base", "form":
			t.Errorf("there is a <%s>: %v", e.name, e.attr)
		}
		for name, value := range e.attr {
			if strings.HasPrefix(name, "on") || name == "src" || name == "href" && !strings.HasPrefix(value, "#") {
				t.Errorf("<%s %s=%q>", e.name, name, value)
			}
		}
		if strings.Contains(e.text, hostil) {
			hostile++
		}
	}
	if scripts != 1 || hostile < 4 {
		t.Errorf("%d scripts, %d elements that show the hostile text as text", scripts, hostile)
	}
	for _, address := range []string{"http://", "https://", "@import", "url(http"} {
		if strings.Contains(page, address) {
			t.Errorf("the page names %s", address)
		}
	}
}

func textOf(t *testing.T, page string) string {
	t.Helper()
	var b strings.Builder
	for _, e := range elements(t, page) {
		if e.name != "script" && e.name != "style" {
			b.WriteString(strings.ReplaceAll(e.text, nbsp, " ") + "\n")
		}
	}
	return b.String()
}

func TestReportSays(t *testing.T) {
	page := contents(t, run(t, handful(t)), "report.html")
	text := textOf(t, page)
	for _, want := range append(survey.Cautions(),
		"internal <b>only</b>", "Of 190 m surveyed, 60 m (31.6 %) lie within tolerance, 60 m (31.6 %) outside, and for 70 m (36.8 %) the data cannot tell. 120 m of 310 m were not surveyed.",
		"8 readings in 3 traces from 2 field files, taken 21 Nov 2026 to 22 Nov 2026 UTC.", "Mend field/b.csv and run again",
		"Look at sheet S-12 as a whole before its 2 records one by one", "Decide the proposed line of record WM-1", "field/b.csv was set aside: 3 of 3 rows are bad",
		"field/a.csv: 2 readings have no time", "water WM-1 ▲ +1.20 m", "gas gis/gas.geojson#X-9 ? -0.31 m", "potable water (blue)", "gas, oil, steam (yellow)",
		"Attribution says to what this data attributes a difference. It assigns no liability.", "The data attributes it to",
		"tolerance ± 0.50 m", "the sheet's shift", "Error budget: a record's local error", "NAD83 / UTM zone 17N",
	) {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if first := strings.Index(page, "not permission to dig"); first < 0 || first > strings.Index(page, `id="summary"`) {
		t.Error("the caution does not come before the results")
	}
	for _, part := range []string{"summary", "map", "findings", "effects", "resurvey", "inputs", "method"} {
		if !strings.Contains(page, `id="`+part+`"`) {
			t.Errorf("there is no part %s", part)
		}
	}
	// Fault is not this program's to find.
	if word := regexp.MustCompile(`(?i)\b(blame|fault|guilt|liable)`).FindString(text); word != "" {
		t.Errorf("the report speaks of %q", word)
	}
}

// Every kind of line on the map is told by more than its colour.
func TestMapIsNotColourAlone(t *testing.T) {
	for class, style := range map[string]string{
		".case.v-outside{": "stroke-width:11", ".case.v-undecided{": "stroke-dasharray:7 5", ".case.v-within{": "stroke-width:6",
		".bare{": "stroke-dasharray", ".corrected{": "stroke-dasharray", ".unmapped{": "stroke-dasharray", ".used{": "stroke-linecap:round", ".unused{": "stroke-linecap:square",
	} {
		_, rest, ok := strings.Cut("\n"+reportCSS, "\n"+class)
		rule, _, _ := strings.Cut(rest, "}")
		if !ok || !strings.Contains(rule, style) {
			t.Errorf("the style of %s is %q, without %s", class, rule, style)
		}
	}
}

func TestUtilityColours(t *testing.T) {
	var code struct {
		Source  string
		Colours []struct {
			Colour string
			Lines  []string
		}
	}
	published(t, "apwa-colour-code.json", &code)
	words := map[string]string{}
	for _, u := range utilityColours {
		words[u.class] = u.words
	}
	for _, c := range code.Colours {
		for _, line := range c.Lines {
			if got := words[utilityClass(line)]; !strings.Contains(got, "("+c.Colour+")") {
				t.Errorf("%s is drawn as %q, not in %s: %s", line, got, c.Colour, code.Source)
			}
		}
	}
	if utilityClass("heat") != "u-other" || utilityClass("") != "u-other" {
		t.Error("a utility that the code does not name has a colour of it")
	}
}

// A report stays a page: what it leaves out it says.
func TestReportIsLimited(t *testing.T) {
	r := town(t, 24, 3)
	for i := range maxFindings + 7 {
		r.Findings = append(r.Findings, survey.Finding{ID: fmt.Sprintf("X-%04d", i), Kind: survey.KindPosition, Record: i, Verdict: survey.VerdictUndecided})
	}
	for i := range maxRows + 5 {
		r.Survey.Rejects = append(r.Survey.Rejects, survey.Reject{Place: survey.Place{File: "field/extra.csv", Row: i + 2}})
	}
	page := contents(t, run(t, r), "report.html")
	if size := len(page); size > 6<<20 {
		t.Errorf("the report has %d bytes", size)
	}
	text := textOf(t, page)
	for _, want := range []string{
		fmt.Sprintf("1,000 of %s findings are shown; register.xlsx has all.", grouped(len(r.Findings))),
		"200 of 206 rejected values are shown; rejects.csv has all.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

func TestReportOfNothing(t *testing.T) {
	text := textOf(t, contents(t, run(t, nothing()), "report.html"))
	for _, want := range []string{"No record has evidence on it: 0 m of line remain unsurveyed.", "There are no findings.", "There is nothing to rank.", "There is nothing with a place.", "0 readings in 0 traces from 0 field files."} {
		if !strings.Contains(text, want) {
			t.Errorf("the report of nothing does not say %q", want)
		}
	}
}

func TestNumberWords(t *testing.T) {
	for got, want := range map[string]string{
		grouped(0): "0", grouped(999): "999", grouped(1000): "1,000", grouped(-1234567): "-1,234,567",
		lengthWords(999.4): "999" + nbsp + "m", lengthWords(999.6): "1.00" + nbsp + "km", lengthWords(123456): "123" + nbsp + "km",
		percent(1, 3): "33.3" + nbsp + "%", percent(0, 0): "–", counted(1, "record"): "1 record", counted(2, "record"): "2 records",
		counted(2, "stretch", "stretches"): "2 stretches",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
