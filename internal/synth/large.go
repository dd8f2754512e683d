package synth

import "math"

// Large is a parameter set for about so many records and readings: more streets
// of the same kind, more crews, and as much walked, as closely, as it takes.
func Large(p Params, records, readings int) Params {
	// A sample says how many records a block has, and how many readings a metre
	// of record.
	const sampleStreets = 6
	p.Network.Avenues, p.Network.CrossStreets = sampleStreets, sampleStreets
	p.Crews.Coverage = 0.5
	sample := Make(1, p)
	metres, taken := 0.0, 0
	for i := range sample.Truth.Lines {
		metres += length(sample.Truth.Lines[i].Points) / sample.Frame.Scale
	}
	for i := range sample.survey.Traces {
		taken += len(sample.survey.Traces[i].Readings)
	}
	perBlock := float64(len(sample.survey.Records)) / blocks(sampleStreets)
	streets := 2
	for blocks(streets)*perBlock < float64(records) {
		streets++
	}
	p.Network.Avenues, p.Network.CrossStreets = streets, streets
	perMetre := float64(taken) / (p.Crews.Coverage * metres) // of what is walked
	want := float64(readings) / (float64(records) / float64(len(sample.survey.Records)) * metres * perMetre)
	p.Crews.Coverage = min(want, 0.6)
	if closer := want / p.Crews.Coverage; closer > 1 {
		p.Crews.SpacingM[0] /= closer
		p.Crews.SpacingM[1] /= closer
	}
	p.Crews.Crews = max(p.Crews.Crews, int(math.Ceil(float64(readings)/float64(40*p.Crews.DayReadings))))
	p.Crews.SweptAreas = max(p.Crews.SweptAreas, records/2000)
	return p
}

// blocks are the blocks of a square grid of streets, with the stubs at its ends.
func blocks(streets int) float64 { return 2 * float64(streets) * (float64(streets-1) + 0.9) }
