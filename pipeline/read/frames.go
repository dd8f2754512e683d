package read

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// doubtfulM is the accuracy of an operation from which on a person should be
// told of it first.
const doubtfulM = 0.1

// satelliteFrame is what a "WGS 84" of a satellite receiver or of a file may be
// in truth.
const satelliteFrame = "ITRF2014"

// unknownEpoch is the date of positions of which nothing tells it.
const unknownEpoch = 2020

// frameNotes say, once for each operation that is good to no better than
// doubtfulM, which files reach the plane by it, how far off that may leave them
// at a place of the plane, and what to write in the config.
func (pl *plane) frameNotes(accounts []*account, at orb.Point) []string {
	type group struct {
		projection
		records, stated bool
		files           []string
		first, last     time.Time
	}
	var groups []group
	add := func(a *account, p projection, name string, stated bool) {
		if p.operation == nil || p.operation.AccuracyM() <= doubtfulM {
			return
		}
		records := a.Role == survey.RoleRecords
		i := slices.IndexFunc(groups, func(g group) bool {
			return g.operation.Name() == p.operation.Name() && g.records == records && g.stated == stated && g.from.Datum() == p.from.Datum()
		})
		if i < 0 {
			i = len(groups)
			groups = append(groups, group{projection: p, records: records, stated: stated, first: a.First, last: a.Last})
		}
		g := &groups[i]
		g.files = append(g.files, name)
		if g.first.IsZero() || !a.First.IsZero() && a.First.Before(g.first) {
			g.first = a.First
		}
		if a.Last.After(g.last) {
			g.last = a.Last
		}
	}
	for _, a := range accounts {
		add(a, a.to, a.Label(), a.file.Frame != "")
		add(a, a.known, a.Label()+" (known positions)", true)
	}
	var notes []string
	for _, g := range groups {
		epoch := g.epoch
		if epoch == 0 {
			epoch = middleEpoch(g.first, g.last)
		}
		notes = append(notes, firstOf(g.files)+": "+g.operation.Name()+pl.frameAdvice(g.projection, g.records, g.stated, at, epoch))
	}
	return notes
}

// firstOf names the first of some files and counts the others.
func firstOf(files []string) string {
	if len(files) == 1 {
		return files[0]
	}
	return fmt.Sprintf("%s and %s more", files[0], words.Count(len(files)-1, "file", "files"))
}

// frameAdvice says what an operation of doubtful accuracy may come to, and what
// to do.
func (pl *plane) frameAdvice(p projection, records, stated bool, at orb.Point, epoch float64) string {
	if len(p.operation.Notes()) == 0 {
		return ". A datum shift grid under grids: may do better"
	}
	here := func(metres float64) string {
		return fmt.Sprintf("the positions are %.2f m off here (epoch %.1f)", metres, epoch)
	}
	switch ofFile, ofPlane := pl.apartM(p, at, epoch); {
	case ofFile > 0 && !stated:
		return fmt.Sprintf(". If that WGS 84 is %[1]s in truth, %[2]s: then write frame: {name: %[1]s, epoch: %.1[3]f} at the file, else the frame that it is in",
			satelliteFrame, here(ofFile), epoch)
	case ofPlane > 0 && !records:
		return fmt.Sprintf(". If the records' WGS 84 is %s in truth, %s: write at the records which frame: they are in", satelliteFrame, here(ofPlane))
	}
	say := ". Write frame: {name: ...} at the file"
	if stated || records {
		say = ". Write frame: {name: ...} at the records"
	}
	return " (" + strings.Join(p.operation.Notes(), "; ") + ")" + say + " where it is known better"
}

// apartM is how far positions lie off at a place of the plane, in metres, if the
// WGS 84 of the file, or that of the plane, is the satellite frame in truth; 0
// where it is no WGS 84, or no way is known.
func (pl *plane) apartM(p projection, at orb.Point, epoch float64) (ofFile, ofPlane float64) {
	o := crs.Options{Epoch: epoch, Grids: pl.grids}
	stated, err := p.operation.Inverse().Apply(at)
	if err != nil {
		return 0, 0
	}
	distance := func(from, to *crs.System) float64 {
		op, err := crs.NewOperationAt(from, to, o)
		if err != nil {
			return 0
		}
		q, err := op.Apply(stated)
		if err != nil {
			return 0
		}
		return math.Hypot(q[0]-at[0], q[1]-at[1])
	}
	if inTruth, err := p.from.InFrame(satelliteFrame); err == nil && isWGS84(p.from) {
		ofFile = distance(inTruth, pl.system)
	}
	if inTruth, err := pl.system.InFrame(satelliteFrame); err == nil && isWGS84(pl.system) {
		ofPlane = distance(p.from, inTruth)
	}
	return ofFile, ofPlane
}

// isWGS84 says whether a system rests on WGS 84 without a word on which of its
// realisations.
func isWGS84(s *crs.System) bool { return s.Geographic().Name() == "WGS 84" }

// middleEpoch is the middle of a time span as a decimal year, to a tenth.
func middleEpoch(first, last time.Time) float64 {
	if first.IsZero() {
		return unknownEpoch
	}
	t := first.Add(last.Sub(first) / 2).UTC()
	year := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	next := year.AddDate(1, 0, 0)
	return math.Round(10*(float64(t.Year())+t.Sub(year).Hours()/next.Sub(year).Hours())) / 10
}
