package read

import (
	"bytes"
	"encoding/binary"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// keptBytes are what a file of two readings is kept as.
func keptBytes(tb testing.TB) ([]byte, keptField, []survey.Reading) {
	head := keptField{Source: survey.Source{Name: "a.csv", Rows: 2}, Count: 2, Walks: []keptWalk{{Label: "T1", Crew: "Crew 1", Day: 20000}}}
	readings := []survey.Reading{
		{
			Place: survey.Place{File: "a.csv", Row: 1, Line: 2}, Time: time.Date(2026, 5, 4, 8, 30, 0, 5, time.UTC), Point: orb.Point{1.5, -2},
			ElevationM: 3, SigmaM: 0.02, DepthM: 1.1, CurrentA: 0.05, FrequencyHz: 8192, SeparationM: 0.03,
			Fix: survey.FixFixed, DepthTo: survey.DepthToSonde, Mode: survey.ModeActive, Hookup: survey.HookupClamp, Doubt: true, Remark: "by the gate",
		},
		{Place: survey.Place{File: "a.csv", Row: 2, Line: 3}},
	}
	data, err := encodeKept(&head, readings, []int32{0, 0})
	if err != nil {
		tb.Fatal(err)
	}
	return data, head, readings
}

func TestKeptReadsBack(t *testing.T) {
	data, wantHead, want := keptBytes(t)
	head, readings, walkOf, err := decodeKept(data)
	if err != nil || !reflect.DeepEqual(head, wantHead) || !reflect.DeepEqual(readings, want) || !reflect.DeepEqual(walkOf, []int32{0, 0}) {
		t.Errorf("%v: %+v %+v %v", err, head, readings, walkOf)
	}
}

// What is not whole is no evidence: it is said, and the file read anew.
func TestKeptThatIsNotWhole(t *testing.T) {
	data, head, readings := keptBytes(t)
	for n := range data {
		if _, _, _, err := decodeKept(data[:n]); err == nil {
			t.Errorf("cut at byte %d of %d it is taken for whole", n, len(data))
		}
	}
	if _, _, _, err := decodeKept(append(bytes.Clone(data), 0)); err == nil {
		t.Error("a byte behind the end is passed over")
	}
	for _, count := range []int{-1, 1, 3, math.MaxInt} {
		head := head
		head.Count = count
		if data, err := encodeKept(&head, readings, []int32{0, 0}); err != nil {
			t.Fatal(err)
		} else if _, _, _, err := decodeKept(data); err == nil {
			t.Errorf("%d readings are found in the bytes of 2", count)
		}
	}
	for _, walk := range []int32{-1, 1} {
		if data, err := encodeKept(&head, readings, []int32{0, walk}); err != nil {
			t.Fatal(err)
		} else if _, _, _, err := decodeKept(data); err == nil {
			t.Errorf("a reading is of walk %d of one", walk)
		}
	}
}

func FuzzKept(f *testing.F) {
	data, _, _ := keptBytes(f)
	f.Add(data)
	f.Add(binary.LittleEndian.AppendUint64(nil, math.MaxUint64))
	f.Fuzz(func(t *testing.T, data []byte) {
		head, readings, walkOf, err := decodeKept(data)
		if err != nil {
			return
		}
		if len(readings) != head.Count || len(walkOf) != head.Count || len(readings)*readingBytes > len(data) {
			t.Fatalf("%d readings, %d walks, %d counted in %d bytes", len(readings), len(walkOf), head.Count, len(data))
		}
	})
}
