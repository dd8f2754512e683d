package publish

import (
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// plain has ordinary spaces for those that keep a number with its unit.
func plain(text string) string { return strings.ReplaceAll(text, nbsp, " ") }

func TestSweptWords(t *testing.T) {
	for _, tt := range []struct {
		n    sweptCount
		want string
	}{
		{sweptCount{1, recordsLong{1, 97}, recordsLong{}}, "In 1 swept area 97 m of 1 record was not detected."},
		{sweptCount{4, recordsLong{4, 97}, recordsLong{1, 12}}, "In 4 swept areas 97 m of 4 records were not detected; apart from them, no signal can be put on 12 m of 1 record, so that the sweep says nothing of it."},
		{sweptCount{4, recordsLong{}, recordsLong{3, 1200}}, "In 4 swept areas 0 m of 0 records were not detected; apart from them, no signal can be put on 1.20 km of 3 records, so that the sweep says nothing of these."},
	} {
		if got := plain(sweptWords(&tt.n)); got != tt.want {
			t.Errorf("%s\nwant %s", got, tt.want)
		}
	}
}

// A record has one finding of what a sweep did not show; other kinds do not count.
func TestCountSwept(t *testing.T) {
	e := &edition{Result: &survey.Result{Survey: &survey.Survey{Areas: make([]survey.Area, 2)}, Findings: []survey.Finding{
		{Kind: survey.KindNotDetected, FromM: 2, ToM: 12},
		{Kind: survey.KindPosition, ToM: 100},
		{Kind: survey.KindNotTraceable, ToM: 7.5},
		{Kind: survey.KindNotDetected, ToM: 3},
	}}}
	if got, want := e.countSwept(), (sweptCount{2, recordsLong{2, 13}, recordsLong{1, 7.5}}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// Half of 400 m lay within tolerance of the map, nine tenths within that of the lines.
func TestHeldOutWords(t *testing.T) {
	e := &edition{Result: &survey.Result{}}
	if got := e.heldOutWords(); got != "" {
		t.Errorf("nothing was held out: %s", got)
	}
	e.HeldOut = &survey.HeldOut{Traces: 1, Readings: 90, Records: 3, LengthM: 400, BeforeM: 200, AfterM: 360}
	want := "Without 1 trace (90 readings, 400 m on 3 records that other sessions read too) lines were proposed once more: of what these traces read 50.0 % lies within tolerance of the map as handed in, 90.0 % of those lines. Traces that walk where others did are no random sample."
	if got := plain(e.heldOutWords()); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}
