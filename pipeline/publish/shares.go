package publish

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// shares is a row a record with used readings: their mean raw difference across
// it, + to the right, and how much of that the model puts down to what. raw is
// the sum of the seven parts; sheet, own and local are the record's.
func (e *edition) shares() table {
	return table{name: "shares", columns: []column{
		textColumn("record"), integerColumn("readings"), offsetColumn("raw_m"), offsetColumn("sheet_m"), offsetColumn("own_m"), offsetColumn("local_m"),
		offsetColumn("session_m"), offsetColumn("source_m"), offsetColumn("bias_m"), offsetColumn("noise_m"), offsetColumn("field_u_m"),
		textColumn("attribution"), probabilityColumn("attribution_probability"), textColumn("rests_on"),
	}, rows: func(yield func(row) bool) {
		for r := range e.Survey.Records {
			p := e.profile(r)
			if p == nil || p.Shares.Readings == 0 {
				continue
			}
			sh, attribution, probability, rests := &p.Shares, survey.AttributionNone, math.NaN(), ""
			if j := e.judgement(r); j != nil && j.Attribution != survey.AttributionNone {
				attribution, probability, rests = j.Attribution, j.AttributionProbability, e.effectNames(j.RestsOn)
			}
			if !yield(row{cells: []cell{
				text(e.labels[r]), integer(sh.Readings), number(sh.RawM), number(sh.SheetM), number(sh.OwnM), number(sh.LocalM),
				number(sh.SessionM), number(sh.SourceM), number(sh.BiasM), number(sh.NoiseM), number(sh.FieldU),
				word(attribution), number(probability), text(rests),
			}}) {
				return
			}
		}
	}}
}
