package read

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// rowsFile is one file of which every row that can be used becomes one item: a
// mark, an exposure or a control check.
type rowsFile[T any] struct {
	account
	items  []T
	places []survey.Place // of the items, until repeats are left out
}

// readRows reads such a file. bind finds its columns and returns what reads a
// row. Whatever is wrong with the file stays with it: it is set aside.
func readRows[T any](ctx context.Context, src File, role survey.Role, maxRejectShare float64, bind func(*binder, *account) func(*row) (T, fault)) (*rowsFile[T], error) {
	f := &rowsFile[T]{account: account{Source: survey.Source{Name: src.Name, Role: role}}}
	rows := func(b *binder) func(*row) fault {
		read := bind(b, &f.account)
		return func(r *row) fault {
			item, why := read(r)
			if why.reason == "" {
				f.items = append(f.items, item)
				f.places = append(f.places, survey.Place{File: f.Name, Row: r.number, Line: r.line})
			}
			return why
		}
	}
	if err := f.readTable(ctx, src, maxRejectShare, rows, func() []survey.Place { return f.places }); err != nil {
		return nil, err
	}
	if f.SetAside != "" {
		f.items, f.places = nil, nil
	}
	return f, nil
}

// saysTheSame is what is odd about a row that counts as a duplicate.
const saysTheSame = "says what another row says and counts once with it"

// leaveOutRepeats puts the items of each file in order and keeps the first of
// those that say the same, in the order of files. key is what makes two rows the
// same. The later ones count as duplicates, since an item need not be kept for
// the trail; a note names them with the row that counts.
func leaveOutRepeats[T any, K comparable](files []*rowsFile[T], compare func(a, b *T) int, key func(*T) K) {
	first := map[K]survey.Place{}
	for _, f := range files {
		order := make([]int, len(f.items))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(i, j int) int { return compare(&f.items[i], &f.items[j]) })
		kept, again := make([]T, 0, len(f.items)), oddities{}
		for _, i := range order {
			k := key(&f.items[i])
			if before, met := first[k]; met {
				f.Used--
				f.Duplicates++
				again.note(saysTheSame, sameRow(f.places[i], before))
				continue
			}
			first[k] = f.places[i]
			kept = append(kept, f.items[i])
		}
		f.items, f.places = kept, nil
		f.Notes = append(f.Notes, again.lines()...)
	}
}

// sameRow names a row and the one that it repeats.
func sameRow(p, first survey.Place) string {
	if p.File == first.File {
		return fmt.Sprintf("row %d = row %d", p.Row, first.Row)
	}
	return fmt.Sprintf("row %d = %s row %d", p.Row, first.File, first.Row)
}

// inOrder are the items of some files in an order that depends on what they say
// alone.
func inOrder[T any](files []*rowsFile[T], compare func(a, b *T) int) []T {
	var all []T
	for _, f := range files {
		all = append(all, f.items...)
	}
	slices.SortStableFunc(all, func(a, b T) int { return compare(&a, &b) })
	return all
}

// comparablePoint is a position as it can be part of a key: the last
// digits of a transformation do not tell two equal positions apart.
func comparablePoint(p orb.Point) orb.Point {
	return orb.Point{float64(micrometres(p[0])), float64(micrometres(p[1]))}
}

// comparableNumber is a number as it can be part of a key: NaN, which equals
// nothing, is -Inf.
func comparableNumber(v float64) float64 {
	if math.IsNaN(v) {
		return math.Inf(-1)
	}
	return v
}

// micrometres rounds a coordinate.
func micrometres(v float64) int64 { return int64(math.Round(v * 1e6)) }
