package match_test

import (
	"testing"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/match"
)

// BenchmarkTraces matches a town as it comes; divide by the readings for the
// cost of one.
func BenchmarkTraces(b *testing.B) {
	p, err := synth.Preset("hard")
	if err != nil {
		b.Fatal(err)
	}
	s := synth.Make(1, synth.Large(p, 8000, 40_000)).Survey()
	readings := 0
	for i := range s.Traces {
		readings += len(s.Traces[i].Readings)
	}
	o := config.Default().Match
	o.Workers = 1
	b.ReportAllocs()
	for b.Loop() {
		match.Traces(s, nil, o)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(readings), "ns/reading")
	b.ReportMetric(float64(len(s.Records)), "records")
	b.ReportMetric(float64(readings), "readings")
}
