package read

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// repeats says which of a layer's features repeat an earlier one wholly,
// geometry and attributes, and counts them as duplicates: kept as two, neither
// could be told from the other. of are the features, in the file's order;
// onOther counts those that lie on another with other attributes. A column that
// only numbers the rows tells no two apart, unless the config takes it for the id.
func (a *account) repeats(l *survey.Layer, of []int, id string) (again []bool, onOther int) {
	again = make([]bool, len(of))
	first := make(map[string][]int, len(of))
	says := func(f *survey.Feature) []survey.Value {
		values := f.Values
		for i := range l.Fields {
			if l.Fields[i].Numbering && !strings.EqualFold(l.Fields[i].Name, id) {
				values = slices.Clone(values)
				values[i] = survey.Value{}
			}
		}
		return values
	}
	var geometry []byte
	for i, feature := range of {
		f := &l.Features[feature]
		geometry = geometryBytes(geometry[:0], f.Parts)
		earlier := first[string(geometry)]
		at := slices.IndexFunc(earlier, func(e int) bool { return slices.Equal(says(&l.Features[e]), says(f)) })
		if at >= 0 {
			a.Used--
			a.Duplicates++
			a.odd.note("repeats another row wholly and counts once with it", fmt.Sprintf("row %d = row %d", f.Row, l.Features[earlier[at]].Row))
			again[i] = true
			continue
		}
		if len(earlier) > 0 {
			onOther++
		}
		first[string(geometry)] = append(earlier, feature)
	}
	return again, onOther
}

// leaveOutRepeated counts records that repeat another one as duplicates, and
// notes lines that lie on another.
func (l *recordsLayer) leaveOutRepeated() {
	of := make([]int, len(l.records))
	for i := range l.records {
		of[i] = l.records[i].Feature
	}
	again, onOther := l.repeats(&l.layer, of, l.src.ID.Name)
	l.records = without(l.records, again)
	if onOther > 0 {
		l.Notes = append(l.Notes, words.Count(onOther, "line lies", "lines lie")+" wholly on another line of this file")
	}
}

// without is a list without some of its items. It uses the list's own room.
func without[T any](items []T, out []bool) []T {
	kept := items[:0]
	for i := range items {
		if !out[i] {
			kept = append(kept, items[i])
		}
	}
	return kept
}

// geometryBytes are the bits of all coordinates, with a mark between parts.
func geometryBytes(to []byte, parts []orb.LineString) []byte {
	for _, part := range parts {
		for _, p := range part {
			for _, v := range p {
				bits := math.Float64bits(v + 0) // -0 is 0
				for shift := 0; shift < 64; shift += 8 {
					to = append(to, byte(bits>>shift))
				}
			}
		}
		to = append(to, '|')
	}
	return to
}

// key makes the ids of the records unique, and sorts them by id.
func (l *recordsLayer) key() {
	slices.SortFunc(l.records, func(a, b survey.Record) int {
		return cmp.Or(strings.Compare(a.ID, b.ID), compareParts(a.Parts, b.Parts), cmp.Compare(a.Feature, b.Feature))
	})
	ids, rows := make([]*string, len(l.records)), make([]int, len(l.records))
	for i := range l.records {
		ids[i], rows[i] = &l.records[i].ID, l.layer.Features[l.records[i].Feature].Row
	}
	l.uniqueIDs(ids, rows, [2]string{"record", "records"}, l.src.ID.Given())
	slices.SortFunc(l.records, func(a, b survey.Record) int { return strings.Compare(a.ID, b.ID) })
}

// uniqueIDs makes ids unique that stand in the order of their texts and, where
// those are the same, of their coordinates. A missing id becomes the row's
// number; of those that are the same, the second and later ones get a suffix.
// what is the word for that which has the ids, for the notes.
func (a *account) uniqueIDs(ids []*string, rows []int, what [2]string, mapped bool) {
	taken := make(map[string]bool, len(ids))
	for _, id := range ids {
		taken[*id] = true
	}
	missing, repeated, number := 0, map[string]bool{}, 1
	previous := ""
	for i, at := range ids {
		id := *at
		if id == "" {
			missing++
			*at = free(strconv.Itoa(rows[i]), 1, taken)
			continue
		}
		if id == previous {
			number++
			repeated[id] = true
			*at = free(id, number, taken)
		} else {
			number = 1
		}
		previous = id
	}
	if missing > 0 && mapped {
		a.Notes = append(a.Notes, words.Count(missing, what[0]+" has", what[1]+" have")+" no id: the row number stands for it")
	}
	if len(repeated) > 0 {
		a.Notes = append(a.Notes, fmt.Sprintf(`%s on several %s (%s): from the second on, in the order of their coordinates, the id has a suffix such as "#2"`,
			words.Count(len(repeated), "id stands", "ids stand"), what[1], some(repeated)))
	}
}

// free is the first of id, id#2, id#3 ... from the given number on that is not
// taken, and takes it.
func free(id string, number int, taken map[string]bool) string {
	try := id
	for {
		if number > 1 {
			try = fmt.Sprintf("%s#%d", id, number)
		}
		if !taken[try] {
			taken[try] = true
			return try
		}
		number++
	}
}

func some(words map[string]bool) string {
	const most = 5
	var list []string
	for w := range words {
		list = append(list, w)
	}
	slices.Sort(list)
	if len(list) > most {
		list = append(list[:most], "...")
	}
	return strings.Join(list, ", ")
}

func compareParts(a, b orb.MultiLineString) int {
	return slices.CompareFunc(a, b, func(p, q orb.LineString) int {
		return slices.CompareFunc(p, q, func(x, y orb.Point) int {
			return cmp.Or(cmp.Compare(x[0], y[0]), cmp.Compare(x[1], y[1]))
		})
	})
}
