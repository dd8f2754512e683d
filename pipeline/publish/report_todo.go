package publish

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// todo is one thing to do first, and why.
type todo struct{ What, Why, Link string }

// todo picks the three things to do first: mend the input, then look at what
// many records share, then at the worst records, then survey on. One of each
// before a second of any.
func (e *edition) todo() []todo {
	queues := [][]todo{e.todoInput(), e.todoEffects(), e.todoFindings(), e.todoResurvey()}
	var out []todo
	for round := 0; len(out) < 3; round++ {
		found := false
		for _, q := range queues {
			if round < len(q) && len(out) < 3 {
				out, found = append(out, q[round]), true
			}
		}
		if !found {
			break
		}
	}
	return out
}

func (e *edition) todoInput() []todo {
	var out []todo
	for i := range e.Survey.Sources {
		if s := &e.Survey.Sources[i]; s.SetAside != "" {
			out = append(out, todo{"Mend " + s.Name + " and run again", "It was set aside: " + s.SetAside, "#inputs"})
		}
	}
	return out
}

func (e *edition) todoEffects() []todo {
	var out []todo
	effects := slices.DeleteFunc(slices.Clone(e.effects()), func(f survey.Effect) bool { return !f.Significant })
	slices.SortStableFunc(effects, func(a, b survey.Effect) int { return cmp.Compare(moves(b), moves(a)) }) // what moves most of the map first
	for _, f := range effects {
		t := todo{Why: f.Explanation, Link: "#effects"}
		switch f.Kind {
		case survey.EffectSheet:
			t.What = fmt.Sprintf("Look at sheet %s as a whole before its %s one by one", f.Name, counted(f.Records, "record"))
		default:
			t.What = fmt.Sprintf("Check the positions of %s against a known mark", f.Name)
		}
		out = append(out, t)
	}
	return out
}

func (e *edition) todoFindings() []todo {
	var out []todo
	for _, i := range e.bySeverity() {
		f := &e.Findings[i]
		if f.Verdict != survey.VerdictOutside || f.Life.Quiet() || len(out) == 3 {
			continue
		}
		t := todo{What: "Decide finding " + f.ID, Why: f.Sentence, Link: findingAnchor(i)}
		if f.Record >= 0 {
			verb := "Decide the proposed line of record "
			if e.correction(f.Record) == nil {
				verb = "Look into record "
			}
			t.What = verb + e.label(f.Record)
		}
		out = append(out, t)
	}
	return out
}

func (e *edition) todoResurvey() []todo {
	if len(e.Resurvey) == 0 {
		return nil
	}
	first := e.Resurvey[0]
	length, cost, n := 0.0, 0.0, 0
	for i := range e.Resurvey {
		if v := &e.Resurvey[i]; v.Package == first.Package {
			length, cost, n = length+v.LengthM, cost+v.Cost, n+1
		}
	}
	return []todo{{
		fmt.Sprintf("Survey work package %d next: %s, %s", first.Package, counted(n, "stretch", "stretches"), lengthWords(length)),
		joinSentences(first.Reason, fmt.Sprintf("It begins with record %s and costs %s.", e.label(first.Record), fixed(cost, 0))), "#resurvey",
	}}
}

// moves is how much an effect moves: metres times records.
func moves(f survey.Effect) float64 { return math.Hypot(f.V.East, f.V.North) * float64(f.Records) }

func joinSentences(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	if last := a[len(a)-1]; last != '.' && last != '!' && last != '?' {
		a += "."
	}
	return a + " " + b
}
