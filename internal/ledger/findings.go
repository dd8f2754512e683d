package ledger

import (
	"encoding/json"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/life"
)

// findings writes which findings are no longer as they were, and what was typed
// beside them since.
func (w *writer) findings(fs []life.Finding) {
	past, err := readFindings(w.tx)
	if w.err == nil {
		w.err = err
	}
	was := map[string]*life.Finding{}
	for i := range past {
		was[past[i].ID] = &past[i].Finding
	}
	insert := w.each("INSERT INTO finding VALUES (?, ?, NULL" + strings.Repeat(", ?", 29) + ")")
	end := w.each("UPDATE finding SET until = ? WHERE id = ? AND until IS NULL AND first < ?")
	typed := w.each("INSERT INTO decision VALUES (?, ?, ?, ?, ?, ?)")
	for i := range fs {
		f := &fs[i]
		old := was[f.ID]
		var before life.Typed
		if old != nil {
			before = old.Typed
		}
		if t := f.Typed; t != before {
			typed(w.run, f.ID, t.Word, t.Until, t.Who, t.Remark)
		}
		if old != nil && told(old, f) {
			continue
		}
		if old != nil {
			end(w.run, f.ID, w.run)
		}
		d := &f.Decision
		insert(f.ID, w.run, string(f.Kind), f.Record, f.Label, f.Utility, f.Sheet, string(f.Life), f.Reason,
			string(f.Verdict), string(f.Attribution), nullable(f.FromM), nullable(f.ToM), nullable(f.OffsetM), nullable(f.OffsetU), nullable(f.Probability), f.Sentence,
			lineBlob(f.OnMap), lineBlob(f.OnTruth), stamp(f.First), stamp(f.Last), f.Absent,
			d.Word, stamp(d.Until), d.Who, d.Remark, stamp(d.When), nullable(d.OffsetM), nullable(d.OffsetU), lineBlob(d.OnTruth), typedJSON(f.Typed))
	}
}

// told says whether nothing worth telling has changed: numbers by less than half
// a millimetre, stations by less than half a centimetre, a probability by less
// than half a hundredth.
func told(a, b *life.Finding) bool {
	near := func(u, v, by float64) bool { return math.IsNaN(u) && math.IsNaN(v) || math.Abs(u-v) < by }
	return a.Kind == b.Kind && a.Record == b.Record && a.Label == b.Label && a.Utility == b.Utility && a.Sheet == b.Sheet &&
		a.Life == b.Life && a.Absent == b.Absent && a.Reason == b.Reason && a.Verdict == b.Verdict && a.Attribution == b.Attribution &&
		near(a.FromM, b.FromM, 5e-3) && near(a.ToM, b.ToM, 5e-3) && near(a.OffsetM, b.OffsetM, 5e-4) && near(a.OffsetU, b.OffsetU, 5e-4) &&
		near(a.Probability, b.Probability, 5e-3) && a.Decision.Equal(&b.Decision) && a.Typed == b.Typed
}

func typedJSON(t life.Typed) string {
	text, err := json.Marshal([4]string{t.Word, t.Until, t.Who, t.Remark})
	if err != nil {
		return "[]" // four texts always have a JSON form
	}
	return string(text)
}

func typedOf(text string) (t life.Typed) {
	var cells [4]string
	if json.Unmarshal([]byte(text), &cells) == nil {
		t = life.Typed{Word: cells[0], Until: cells[1], Who: cells[2], Remark: cells[3]}
	}
	return t
}

func (w *writer) proposals(ps []life.Proposal) {
	insert := w.each("INSERT INTO proposal VALUES (?, ?, ?, ?, ?, ?, ?)")
	for i := range ps {
		p := &ps[i]
		insert(w.run, p.Record, p.Utility, p.Finding, lineBlob(p.Moved), p.ToleranceM, leftJSON(p.Left))
	}
}
