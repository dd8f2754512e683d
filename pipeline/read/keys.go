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

// leaveOutRepeated counts rows that repeat another one wholly, line and
// attributes, as duplicates: kept as two records, neither could be told from
// the other. It notes lines that lie on another with other attributes.
func (l *recordsLayer) leaveOutRepeated() {
	first := make(map[string][]int, len(l.records))
	var geometry []byte
	kept := l.records[:0]
	onOther := 0
	for _, r := range l.records {
		geometry = geometryBytes(geometry[:0], l.layer.Features[r.Feature].Parts)
		earlier := first[string(geometry)]
		at := slices.IndexFunc(earlier, func(feature int) bool {
			return slices.Equal(l.layer.Features[feature].Values, l.layer.Features[r.Feature].Values)
		})
		if at >= 0 {
			l.Used--
			l.Duplicates++
			l.odd.note("repeats another row wholly and counts once with it", fmt.Sprintf("row %d = row %d",
				l.layer.Features[r.Feature].Row, l.layer.Features[earlier[at]].Row))
			continue
		}
		if len(earlier) > 0 {
			onOther++
		}
		first[string(geometry)] = append(earlier, r.Feature)
		kept = append(kept, r)
	}
	l.records = kept
	if onOther > 0 {
		l.Notes = append(l.Notes, words.Count(onOther, "line lies", "lines lie")+" wholly on another line of this file")
	}
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

// key makes the ids unique. A missing id becomes the row's number; of records
// with the same id, the second and later ones, in the order of their lines, get
// a suffix.
func (l *recordsLayer) key() {
	slices.SortFunc(l.records, func(a, b survey.Record) int {
		if c := strings.Compare(a.ID, b.ID); c != 0 {
			return c
		}
		return cmp.Or(compareParts(a.Parts, b.Parts), cmp.Compare(a.Feature, b.Feature))
	})
	taken := make(map[string]bool, len(l.records))
	for i := range l.records {
		taken[l.records[i].ID] = true
	}
	missing, repeated, number := 0, map[string]bool{}, 1
	previous := ""
	for i := range l.records {
		r := &l.records[i]
		id := r.ID
		if id == "" {
			missing++
			r.ID = free(strconv.Itoa(l.layer.Features[r.Feature].Row), 1, taken)
			continue
		}
		if id == previous {
			number++
			repeated[id] = true
			r.ID = free(id, number, taken)
		} else {
			number = 1
		}
		previous = id
	}
	if missing > 0 && l.src.ID.Given() {
		l.Notes = append(l.Notes, words.Count(missing, "record has", "records have")+" no id: the row number stands for it")
	}
	if len(repeated) > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf(`%s on several records (%s): from the second on, in the order of their coordinates, the id has a suffix such as "#2"`,
			words.Count(len(repeated), "id stands", "ids stand"), some(repeated)))
	}
	slices.SortFunc(l.records, func(a, b survey.Record) int { return strings.Compare(a.ID, b.ID) })
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
