package read

import (
	"cmp"
	"hash/maphash"
	"math"
	"math/bits"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// markDuplicates finds the readings that say what an earlier row says already:
// the same crew, receiver, utility, time, position, depth and signal. Where no
// time tells them apart, their trace, ticket and remark must agree as well. The
// first in the order of files and rows counts; later ones name it.
//
// Rows of one file that differ in trace or remark only are taken in the order
// of those, so that the order of rows changes nothing.
func markDuplicates(files []*fieldFile) {
	again := make([]oddities, len(files))
	for _, same := range sameHash(files) {
		markSame(files, same, again)
	}
	for i, f := range files {
		f.Notes = append(f.Notes, again[i].lines()...)
	}
}

// entry is one reading of some files.
type entry struct{ file, reading int32 }

// sameHash finds the readings that may say the same: those with the same hash
// of what counts.
func sameHash(files []*fieldFile) map[uint64][]entry {
	total := 0
	for _, f := range files {
		total += len(f.readings)
	}
	// An open-addressed table of the readings met so far, by hash. A map of
	// every reading would take several times its room and time.
	type slot struct {
		hash uint64
		entry
	}
	size := 1 << bits.Len(uint(total+total/2))
	table := make([]slot, size)
	again := map[uint64][]entry{}
	seed := maphash.MakeSeed() // only which readings are compared hangs on it
	for n, f := range files {
		walks := f.hashWalks(seed)
		for i := range f.readings {
			h := hashReading(&f.readings[i], walks[f.walkOf[i]])
			e := entry{int32(n), int32(i)}
			at := int(h) & (size - 1)
			for table[at].hash != 0 && table[at].hash != h {
				at = (at + 1) & (size - 1)
			}
			if table[at].hash == 0 {
				table[at] = slot{h, e}
				continue
			}
			if len(again[h]) == 0 {
				again[h] = append(again[h], table[at].entry)
			}
			again[h] = append(again[h], e)
		}
	}
	return again
}

func (f *fieldFile) hashWalks(seed maphash.Seed) []uint64 {
	hashes := make([]uint64, len(f.walks))
	for i, w := range f.walks {
		hashes[i] = maphash.String(seed, w.crew+"\x00"+w.receiver+"\x00"+w.utility)
	}
	return hashes
}

// hashReading is never 0.
func hashReading(m *survey.Reading, walk uint64) uint64 {
	h := walk
	for _, v := range [...]uint64{
		uint64(m.Time.UnixNano()), uint64(micrometres(m.Point[0])), uint64(micrometres(m.Point[1])), math.Float64bits(m.DepthM),
	} {
		h = mix(h ^ v)
	}
	return max(h, 1)
}

// mix spreads the bits of h (the finaliser of SplitMix64, Steele et al. 2014).
func mix(h uint64) uint64 {
	h += 0x9e3779b97f4a7c15
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}

// markSame marks the duplicates among readings of one hash, and notes them.
func markSame(files []*fieldFile, same []entry, again []oddities) {
	slices.SortStableFunc(same, func(a, b entry) int {
		if c := cmp.Compare(a.file, b.file); c != 0 {
			return c
		}
		f := files[a.file]
		return cmp.Or(
			compareWalks(&f.walks[f.walkOf[a.reading]], &f.walks[f.walkOf[b.reading]]),
			cmp.Compare(f.readings[a.reading].Remark, f.readings[b.reading].Remark),
			cmp.Compare(a.reading, b.reading))
	})
	for i, e := range same {
		later, w := files[e.file].at(e.reading)
		for _, p := range same[:i] {
			first, v := files[p.file].at(p.reading)
			if first.Duplicate == nil && sameReading(first, later, v, w) {
				place := first.Place
				later.Duplicate = &place
				files[e.file].Used--
				files[e.file].Duplicates++
				if again[e.file] == nil {
					again[e.file] = oddities{}
				}
				again[e.file].note(saysTheSame, sameRow(later.Place, place))
				break
			}
		}
	}
}

func (f *fieldFile) at(reading int32) (*survey.Reading, *walk) {
	return &f.readings[reading], &f.walks[f.walkOf[reading]]
}

func sameReading(a, b *survey.Reading, v, w *walk) bool {
	if a.Time.IsZero() && (v.label != w.label || v.ticket != w.ticket || a.Remark != b.Remark) {
		return false
	}
	return a.Time.Equal(b.Time) &&
		micrometres(a.Point[0]) == micrometres(b.Point[0]) && micrometres(a.Point[1]) == micrometres(b.Point[1]) &&
		same(a.DepthM, b.DepthM) && same(a.CurrentA, b.CurrentA) && same(a.FrequencyHz, b.FrequencyHz) &&
		a.Mode == b.Mode && a.DepthTo == b.DepthTo &&
		v.crew == w.crew && v.receiver == w.receiver && v.utility == w.utility
}

// same says whether two quantities are equal or both unknown.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func compareWalks(v, w *walk) int {
	return cmp.Or(
		cmp.Compare(v.label, w.label), cmp.Compare(v.crew, w.crew), cmp.Compare(v.receiver, w.receiver),
		cmp.Compare(v.utility, w.utility), cmp.Compare(v.ticket, w.ticket), cmp.Compare(v.session, w.session),
		cmp.Compare(v.position, w.position), cmp.Compare(v.day, w.day))
}
