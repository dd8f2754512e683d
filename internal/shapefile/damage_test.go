package shapefile

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"
)

// slow says whether tests that take minutes are wanted.
func slow() bool { return os.Getenv("ASFOUND_SLOW") == "1" }

// variants are the sets that the tests damage: each type, with and without the
// optional measures.
func variants(t *testing.T, run func(t *testing.T, want *Layer, set fileSet)) {
	for _, l := range everyType() {
		for _, withM := range []bool{true, false} {
			if !withM && !l.Type.HasM() {
				continue
			}
			t.Run(fmt.Sprintf("%v/measures=%v", l.Type, withM && l.Type.HasM()), func(t *testing.T) {
				t.Parallel()
				set := buildSet(l, withM)
				want, err := set.read()
				if err != nil {
					t.Fatal(err)
				}
				run(t, want, set)
			})
		}
	}
}

// TestTruncated cuts each file of each kind of set at each byte. All cuts are
// errors, but for the end mark of a table, without which it is whole.
func TestTruncated(t *testing.T) {
	variants(t, func(t *testing.T, want *Layer, set fileSet) {
		for _, ext := range []string{".shp", ".shx", ".dbf"} {
			whole := *set.file(ext)
			for n := range whole {
				got, err := set.with(ext, whole[:n]).read()
				if ext == ".dbf" && n == len(whole)-1 {
					if err != nil || !reflect.DeepEqual(bits(got), bits(want)) {
						t.Errorf("%s without its end mark: %v", ext, err)
					}
					continue
				}
				if err == nil {
					t.Errorf("%s cut to %d of %d bytes: no error", ext, n, len(whole))
				} else {
					checkError(t, err)
				}
			}
		}
	})
}

// TestLengthened puts bytes behind each file, as a copy over a longer file does.
func TestLengthened(t *testing.T) {
	variants(t, func(t *testing.T, _ *Layer, set fileSet) {
		for _, ext := range []string{".shp", ".shx", ".dbf"} {
			for _, tail := range [][]byte{{' '}, bytes.Repeat([]byte{7}, 8), *set.file(ext)} {
				longer := append(bytes.Clone(*set.file(ext)), tail...)
				if _, err := set.with(ext, longer).read(); err == nil {
					t.Errorf("%s with %d bytes more: no error", ext, len(tail))
				} else {
					checkError(t, err)
				}
			}
		}
	})
}

// TestFlipped changes each byte of each file, bit by bit (to every other value
// with ASFOUND_SLOW=1). Either that is an error, or the layer is whole: see
// checkWhole.
func TestFlipped(t *testing.T) {
	masks := []byte{1, 2, 4, 8, 16, 32, 64, 128, 0xFF}
	if slow() {
		masks = nil
		for m := 1; m < 256; m++ {
			masks = append(masks, byte(m))
		}
	}
	variants(t, func(t *testing.T, want *Layer, set fileSet) {
		silent, errs := 0, 0
		for _, ext := range []string{".shp", ".shx", ".dbf"} {
			whole := *set.file(ext)
			damaged := bytes.Clone(whole)
			for i := range whole {
				for _, mask := range masks {
					damaged[i] = whole[i] ^ mask
					got, err := set.with(ext, damaged).read()
					if err != nil {
						errs++
						checkError(t, err)
					} else {
						silent++
						checkWhole(t, fmt.Sprintf("%s byte %d ^ %#x", ext, i, mask), got, want)
					}
				}
				damaged[i] = whole[i]
			}
		}
		if errs == 0 || silent == 0 {
			t.Errorf("%d errors and %d layers: the test does not see both outcomes", errs, silent)
		}
	})
}

// checkWhole says what may be returned from a set with one byte changed: as
// many rows, as many points in each and as many values, and nothing changed but
// one value, one mark of deletion, one boundary between parts, or a name.
func checkWhole(t *testing.T, what string, got, want *Layer) {
	t.Helper()
	if got.Type != want.Type || len(got.Rows) != len(want.Rows) || len(got.Fields) != len(want.Fields) {
		t.Errorf("%s: %v with %d rows and %d fields, was %v with %d and %d", what, got.Type, len(got.Rows), len(got.Fields), want.Type, len(want.Rows), len(want.Fields))
		return
	}
	changed := 0
	for i := range got.Rows {
		g, w := &got.Rows[i], &want.Rows[i]
		if g.Number != i+1 || len(g.Parts) != len(w.Parts) || len(g.Values) != len(w.Values) {
			t.Errorf("%s: row %d is %+v, was %+v", what, i+1, g, w)
		}
		gn, wn := numbersOf(g), numbersOf(w)
		if pointLost := g.Null && !w.Null && len(wn) <= 4; pointLost {
			changed++ // a point whose X or Y became no number
			continue
		}
		if len(gn) != len(wn) || g.Null != w.Null {
			t.Errorf("%s: row %d has %d numbers, had %d", what, i+1, len(gn), len(wn))
			continue
		}
		for k := range gn {
			if gn[k] != wn[k] && (gn[k] == gn[k] || wn[k] == wn[k]) {
				changed++
			}
		}
		for k := range g.Values {
			if g.Values[k] != w.Values[k] {
				changed++
			}
		}
	}
	if changed > 1 {
		t.Errorf("%s: %d values changed", what, changed)
	}
}

// numbersOf are all X, Y, Z and M of a row, parts one after the other.
func numbersOf(r *Row) (ns []float64) {
	for _, p := range r.Points {
		ns = append(ns, p[0], p[1])
	}
	for _, part := range r.Parts {
		for _, p := range part {
			ns = append(ns, p[0], p[1])
		}
	}
	for _, part := range r.Z {
		ns = append(ns, part...)
	}
	for _, part := range r.M {
		ns = append(ns, part...)
	}
	return ns
}

// checkError makes sure that an error is fit for a user: it names a file of the
// set, and says what is wrong and what to do.
func checkError(t *testing.T, err error) {
	t.Helper()
	e, ok := errors.AsType[*Error](err)
	if !ok || !strings.HasPrefix(e.File, "mains.") || e.Problem == "" || e.Remedy == "" {
		t.Errorf("not a message for a user: %v", err)
	}
}
