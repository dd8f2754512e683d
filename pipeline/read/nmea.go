package read

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

const day = 24 * time.Hour

// logged is a position of a receiver's log.
type logged struct {
	time       time.Time // on 1970-01-01 in a log without dates
	at         orb.Point // longitude, latitude
	elevationM float64
	sigmaM     float64 // per axis; NaN where no GST sentence says it
	fix        survey.Fix
}

// positionLog is a receiver's log in NMEA 0183: positions of GGA sentences in
// the order of time, with the accuracy of GST sentences of the same moment.
// Dates come from RMC and ZDA sentences; a log without them is joined by the
// time of day.
type positionLog struct {
	name      string
	positions []logged
	dated     bool
	maxGap    time.Duration
	damaged   int // sentences with a wrong checksum
}

func openLog(l PositionLog) (*positionLog, error) {
	f, err := os.Open(l.Path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	log, err := parseNMEA(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.Name, err)
	}
	log.name = l.Name
	log.maxGap = time.Duration(l.MaxGapSeconds * float64(time.Second))
	if log.maxGap <= 0 {
		log.maxGap = 2 * time.Second
	}
	return log, nil
}

// nmeaReader keeps what sentences say of each other.
type nmeaReader struct {
	log    *positionLog
	days   int       // midnights passed
	last   time.Time // time of day of the last sentence, on 1970-01-01
	date   time.Time // midnight of the day on which days was 0; zero unknown
	gst    time.Time // time of the last GST sentence
	summed bool      // a sentence had a checksum
	sigmaM float64
}

func parseNMEA(in io.Reader) (*positionLog, error) {
	r := &nmeaReader{log: &positionLog{}, sigmaM: math.NaN()}
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 4096), 64<<10)
	for lines.Scan() {
		line := lines.Text()
		if at := strings.LastIndexByte(line, '$'); at >= 0 {
			r.sentence(line[at+1:])
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, errors.New("its lines are too long for NMEA 0183")
	} else if err != nil {
		return nil, err
	}
	if len(r.log.positions) == 0 {
		return nil, errors.New("it holds no GGA sentence with a position")
	}
	r.log.dated = !r.date.IsZero()
	slices.SortStableFunc(r.log.positions, func(a, b logged) int { return a.time.Compare(b.time) })
	return r.log, nil
}

// sentence reads what stands behind the $.
func (r *nmeaReader) sentence(s string) {
	body, sum, summed := strings.Cut(strings.TrimRight(s, " \r"), "*")
	// A receiver writes checksums always or never: where one is missing among
	// others, the sentence was cut.
	r.summed = r.summed || summed
	if r.summed && !checksum(body, sum) {
		r.log.damaged++
		return
	}
	f := strings.Split(body, ",")
	if len(f) < 2 || len(f[0]) < 3 {
		return
	}
	switch f[0][len(f[0])-3:] {
	case "GGA":
		r.gga(f)
	case "GST":
		r.accuracy(f)
	case "RMC":
		if len(f) > 9 {
			r.dateOf(f[1], "020106", f[9])
		}
	case "ZDA":
		if len(f) > 4 {
			r.dateOf(f[1], "02012006", f[2]+f[3]+f[4])
		}
	}
}

func checksum(body, hex string) bool {
	want, err := strconv.ParseUint(strings.TrimSpace(hex), 16, 8)
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return err == nil && byte(want) == sum
}

// timeOfDay reads hhmmss.ss and counts midnights.
func (r *nmeaReader) timeOfDay(s string) (time.Time, bool) {
	whole, fraction, _ := strings.Cut(s, ".")
	t, err := time.Parse("150405", whole)
	if err != nil {
		return time.Time{}, false
	}
	t = time.Unix(int64(t.Hour()*3600+t.Minute()*60+t.Second()), 0).UTC()
	if fraction != "" {
		seconds, err := strconv.ParseFloat("0."+fraction, 64)
		if err != nil {
			return time.Time{}, false
		}
		t = t.Add(time.Duration(math.Round(seconds * 1e9)))
	}
	if r.last.Sub(t) > day/2 {
		r.days++
	}
	r.last = t
	return t, true
}

// onDay puts a time of day on the day that the log has reached.
func (r *nmeaReader) onDay(t time.Time) time.Time {
	t = t.Add(time.Duration(r.days) * day)
	if r.date.IsZero() {
		return t
	}
	return t.Add(r.date.Sub(time.Unix(0, 0)))
}

// dateOf takes a sentence that says the date. The positions before the first
// one get theirs from it.
func (r *nmeaReader) dateOf(clock, layout, date string) {
	if _, ok := r.timeOfDay(clock); !ok {
		return
	}
	today, err := time.Parse(layout, date)
	if err != nil {
		return
	}
	first := r.date.IsZero()
	r.date = today.Add(-time.Duration(r.days) * day)
	if first {
		for i := range r.log.positions {
			r.log.positions[i].time = r.log.positions[i].time.Add(r.date.Sub(time.Unix(0, 0)))
		}
	}
}

func (r *nmeaReader) gga(f []string) {
	if len(f) < 10 {
		return
	}
	t, ok := r.timeOfDay(f[1])
	lat, okLat := degrees(f[2], f[3], "N", "S")
	lon, okLon := degrees(f[4], f[5], "E", "W")
	fix, known := fixWords[f[6]]
	if !ok || !okLat || !okLon || !known || fix == noFix {
		return // also quality 0: the receiver had no position
	}
	p := logged{time: r.onDay(t), at: orb.Point{lon, lat}, elevationM: math.NaN(), sigmaM: math.NaN(), fix: fix}
	if h, why := parseNumber(f[9], '.'); why == "" {
		p.elevationM = h
	}
	if r.gst.Equal(p.time) {
		p.sigmaM = r.sigmaM
	}
	r.log.positions = append(r.log.positions, p)
}

// accuracy reads GST: fields 6 and 7 are the standard deviations of latitude and
// longitude in metres. One deviation per axis is the root of their mean square.
func (r *nmeaReader) accuracy(f []string) {
	if len(f) < 8 {
		return
	}
	t, ok := r.timeOfDay(f[1])
	north, whyNorth := parseNumber(f[6], '.')
	east, whyEast := parseNumber(f[7], '.')
	if !ok || whyNorth != "" || whyEast != "" || north < 0 || east < 0 || north+east == 0 {
		return
	}
	r.gst, r.sigmaM = r.onDay(t), math.Sqrt((north*north+east*east)/2)
	if n := len(r.log.positions); n > 0 && r.log.positions[n-1].time.Equal(r.gst) {
		r.log.positions[n-1].sigmaM = r.sigmaM
	}
}

// degrees reads (d)ddmm.mmm with its hemisphere.
func degrees(s, hemisphere, plus, minus string) (float64, bool) {
	v, why := parseNumber(s, '.')
	if why != "" || v < 0 {
		return 0, false
	}
	whole := math.Floor(v / 100)
	v = whole + (v-100*whole)/60
	switch hemisphere {
	case plus:
		return v, true
	case minus:
		return -v, true
	}
	return 0, false
}

// position is where the receiver was at a moment: between the positions before
// and after it if they are close enough in time, else the nearest within half
// that gap.
func (l *positionLog) position(t time.Time) (logged, string) {
	if !l.dated {
		t = time.Unix(0, 0).UTC().Add(t.Sub(t.Truncate(day)))
	}
	i := sort.Search(len(l.positions), func(i int) bool { return !l.positions[i].time.Before(t) })
	switch {
	case i < len(l.positions) && l.positions[i].time.Equal(t):
		return l.positions[i], ""
	case i > 0 && i < len(l.positions) && l.positions[i].time.Sub(l.positions[i-1].time) <= l.maxGap:
		return between(&l.positions[i-1], &l.positions[i], t), ""
	}
	for _, j := range []int{i - 1, i} {
		if j >= 0 && j < len(l.positions) && t.Sub(l.positions[j].time).Abs() <= l.maxGap/2 {
			return l.positions[j], ""
		}
	}
	return logged{}, fmt.Sprintf("has no position within %v in %s", l.maxGap/2, l.name)
}

// between interpolates a position. It is as good as the worse of the two.
func between(a, b *logged, t time.Time) logged {
	share := t.Sub(a.time).Seconds() / b.time.Sub(a.time).Seconds()
	mix := func(x, y float64) float64 { return x + share*(y-x) }
	return logged{
		time: t, at: orb.Point{mix(a.at[0], b.at[0]), mix(a.at[1], b.at[1])}, elevationM: mix(a.elevationM, b.elevationM),
		sigmaM: max(a.sigmaM, b.sigmaM), fix: worse(a.fix, b.fix),
	}
}

// worse is the less accurate of two kinds of position.
func worse(a, b survey.Fix) survey.Fix {
	order := []survey.Fix{survey.FixFixed, survey.FixFloat, survey.FixDGPS, survey.FixAutonomous}
	if cmp.Compare(slices.Index(order, a), slices.Index(order, b)) < 0 {
		return b
	}
	return a
}

// notes are what a person should know of the log.
func (l *positionLog) notes() []string {
	notes := []string{fmt.Sprintf("positions from %s: %s", l.name, words.Count(len(l.positions), "position", "positions"))}
	if l.damaged > 0 {
		notes = append(notes, fmt.Sprintf("%s: %s with a wrong checksum left out", l.name, words.Count(l.damaged, "sentence", "sentences")))
	}
	if !l.dated {
		notes = append(notes, l.name+" says no date: joined by the time of day")
	}
	return notes
}
