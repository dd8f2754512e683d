//go:build linux

package main

import (
	"os"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/match"
	"github.com/asfound/asfound/pipeline/survey"
)

// benchmarkSurvey is a hard town of 50,000 readings, of a million with
// ASFOUND_SLOW=1.
func benchmarkSurvey(b *testing.B) (s *survey.Survey, points []orb.Point) {
	b.Helper()
	readings := 50_000
	if os.Getenv("ASFOUND_SLOW") == "1" {
		readings = 1_000_000
	}
	p, err := synth.Preset("hard")
	if err != nil {
		b.Fatal(err)
	}
	s = synth.Make(1, synth.Large(p, readings/5, readings)).Survey()
	for t := range s.Traces {
		for i := range s.Traces[t].Readings {
			points = append(points, s.Traces[t].Readings[i].Point)
		}
	}
	return s, points
}

func segments(s *survey.Survey) (out []spatial.Segment) {
	for r := range s.Records {
		for _, line := range s.Records[r].Parts {
			for i := 1; i < len(line); i++ {
				out = append(out, spatial.Segment{A: line[i-1], B: line[i]})
			}
		}
	}
	return out
}

// per reports what one of n things of a loop took.
func per(b *testing.B, n int, unit string) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), unit)
}

// What the match stage does, on one core: build the index of all segments, ask it
// for what is near every reading, and the whole of it.
func BenchmarkMatch(b *testing.B) {
	s, points := benchmarkSurvey(b)
	segs := segments(s)
	o := config.Default().Match
	o.Workers = 1
	radiusM := o.SearchRadiusM
	b.Run("index", func(b *testing.B) {
		for b.Loop() {
			spatial.New(segs, 2*radiusM)
		}
		per(b, len(segs), "ns/segment")
	})
	b.Run("query", func(b *testing.B) {
		index := spatial.New(segs, 2*radiusM)
		var buf []int32
		for b.Loop() {
			for _, p := range points {
				buf = index.Within(p, radiusM, buf)
			}
		}
		per(b, len(points), "ns/reading")
	})
	b.Run("stage", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			match.Traces(s, nil, o)
		}
		per(b, len(points), "ns/reading")
	})
}
