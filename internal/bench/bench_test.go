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

// timed runs do until the benchmark has enough, and reports the processor time
// of one of n things: the wall's says little where others work too.
func timed(b *testing.B, n int, of string, do func()) {
	began := processorTime()
	for b.Loop() {
		do()
	}
	b.ReportMetric(float64((processorTime()-began).Nanoseconds())/float64(b.N)/float64(n), "cpu-ns/"+of)
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
		timed(b, len(segs), "segment", func() { spatial.New(segs, 2*radiusM) })
	})
	b.Run("query", func(b *testing.B) {
		index := spatial.New(segs, 2*radiusM)
		var buf []int32
		timed(b, len(points), "reading", func() {
			for _, p := range points {
				buf = index.Within(p, radiusM, buf)
			}
		})
	})
	b.Run("stage", func(b *testing.B) {
		b.ReportAllocs()
		timed(b, len(points), "reading", func() { match.Traces(s, nil, o) })
	})
}
