package pipeline

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/correct"
	"github.com/asfound/asfound/pipeline/survey"
)

// ordinary is a job that says nothing of its own, without files. The external
// tests of the package set it from the config, which knows it.
var ordinary Job

// SetOrdinary is theirs to call.
func SetOrdinary(job Job) { ordinary = job }

func testJob(when correct.When) Job {
	job := ordinary
	job.Correct.When = when
	return job
}

// easyTown is a small town; every call gives one of its own.
func easyTown(t *testing.T, seed uint64) *synth.Town {
	t.Helper()
	p, err := synth.Preset("easy")
	if err != nil {
		t.Fatal(err)
	}
	p.Network.Avenues, p.Network.CrossStreets = 2, 2
	return synth.Make(seed, p)
}

func analyse(t *testing.T, s *survey.Survey, job Job) *survey.Result {
	t.Helper()
	r, err := Analyse(context.Background(), s, job, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The order in which records and traces come changes no number.
func TestOrderOfTheInputChangesNothing(t *testing.T) {
	town := easyTown(t, 21)
	want := analyse(t, town.Survey(), testJob(correct.WhenSurveyed))

	mixed := *town.Survey()
	rng := rand.New(rand.NewPCG(1, 2))
	records, traces := rng.Perm(len(mixed.Records)), rng.Perm(len(mixed.Traces))
	mixed.Records = make([]survey.Record, len(records))
	for to, from := range records {
		mixed.Records[to] = town.Survey().Records[from]
	}
	mixed.Traces = make([]survey.Trace, len(traces))
	for to, from := range traces {
		mixed.Traces[to] = town.Survey().Traces[from]
	}
	got := analyse(t, &mixed, testJob(correct.WhenSurveyed))

	for to, from := range records {
		a, b := want.Judgements[from], got.Judgements[to]
		a.Record, b.Record = 0, 0
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("record %s: judged %+v, in another order %+v", mixed.Records[to].ID, a, b)
		}
		if !reflect.DeepEqual(want.Corrections[from].Parts, got.Corrections[to].Parts) {
			t.Fatalf("record %s: another line in another order", mixed.Records[to].ID)
		}
	}
	for to, from := range traces {
		for i := range want.Matches[from] {
			a, b := want.Matches[from][i], got.Matches[to][i]
			if a.Record >= 0 && b.Record >= 0 {
				if want.Survey.Records[a.Record].ID != mixed.Records[b.Record].ID {
					t.Fatalf("trace %s reading %d: another record in another order", mixed.Traces[to].ID, i)
				}
				a.Record, b.Record = 0, 0
			}
			if a != b {
				t.Fatalf("trace %s reading %d: %+v, in another order %+v", mixed.Traces[to].ID, i, a, b)
			}
		}
	}
	if !reflect.DeepEqual(want.Model.Effects, got.Model.Effects) {
		t.Error("other effects in another order")
	}
}

// A line that was corrected is within when the job runs again on it, and is
// hardly moved across itself a second time.
func TestCorrectingTwiceEqualsOnce(t *testing.T) {
	const hardlyM = 0.1
	town := easyTown(t, 22)
	first := analyse(t, town.Survey(), testJob(correct.WhenSurveyed))
	again := *town.Survey()
	again.Records = append([]survey.Record(nil), again.Records...)
	again.Fittings = nil // they would have moved with their lines
	back, moved := keptBack(first), 0
	for r, c := range first.Corrections {
		if !c.Moved {
			continue
		}
		if !c.Neighbor {
			moved++
		}
		again.Records[r].Parts = make(orb.MultiLineString, len(c.Parts))
		// What was corrected is its drawing's no more: else the sheet's shift
		// would come out smaller every time.
		if !c.Neighbor {
			again.Records[r].Sheet = ""
		}
		for p := range c.Parts {
			again.Records[r].Parts[p] = c.Parts[p].Line
		}
	}
	if moved < 10 {
		t.Fatalf("only %d records moved: nothing to test on", moved)
	}
	second := analyse(t, &again, testJob(correct.WhenSurveyed))
	for r, c := range first.Corrections {
		if !c.Moved || c.Neighbor || back[r] {
			continue
		}
		id := again.Records[r].ID
		if v := second.Judgements[r].Position; v == survey.VerdictOutside {
			t.Errorf("record %s is outside after its correction", id)
		}
		if j := second.Judgements[r]; math.Abs(j.WorstM) > math.Max(hardlyM, 3*j.WorstU) {
			t.Errorf("record %s is %.3f m off after its correction, u %.3f m", id, j.WorstM, j.WorstU)
		}
	}
}
