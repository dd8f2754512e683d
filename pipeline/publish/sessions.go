package publish

import (
	"fmt"
	"math"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

// sessionsTable is a row a session, in the order of their names.
func (e *edition) sessionsTable() table {
	return table{name: "sessions", columns: []column{
		textColumn("session"), textColumn("crew"), textColumn("receiver"), textColumn("first"), textColumn("last"),
		integerColumn("readings"), integerColumn("used"), integerColumn("distrusted"),
		probabilityColumn("distrusted_share"), probabilityColumn("congested_share"), probabilityColumn("distrusted_there"),
		integerColumn("lines"), integerColumn("sheets"), integerColumn("lines_of_other_sessions"), integerColumn("lines_of_other_crews"),
		integerColumn("checks"), offsetColumn("check_east_m"), offsetColumn("check_north_m"),
		offsetColumn("bias_m"), offsetColumn("noise_m"),
		offsetColumn("others_east_m"), offsetColumn("others_north_m"), offsetColumn("others_east_u_m"), offsetColumn("others_north_u_m"),
		textColumn("sentence"), textColumn("positions"),
	}, rows: func(yield func(row) bool) {
		for i := range e.Sessions {
			q := &e.Sessions[i]
			v := e.others(q)
			bias, noise := q.BiasM, q.NoiseM
			if q.Used == 0 {
				bias, noise = math.NaN(), math.NaN()
			}
			if !yield(row{cells: []cell{
				text(q.Name), text(q.Crew), text(q.Receiver), text(moment(q.First)), text(moment(q.Last)),
				integer(q.Readings), integer(q.Used), integer(q.Distrusted),
				number(ratio(q.Distrusted, q.Readings)), number(ratio(q.Congested, q.Sampled)), number(distrustedThere(q)),
				integer(q.Lines), integer(q.Sheets), integer(q.OtherSessions), integer(q.OtherCrews),
				integer(q.Checks), number(q.CheckEast), number(q.CheckNorth), number(bias), number(noise),
				number(v.East), number(v.North), number(math.Sqrt(v.EE)), number(math.Sqrt(v.NN)),
				text(q.Sentence), text(q.Positions),
			}}) {
				return
			}
		}
	}}
}

// others is what all but its own word says of a session's error.
func (e *edition) others(q *survey.Session) survey.Vector {
	if effects := e.effects(); q.Effect < len(effects) {
		return effects[q.Effect].Others
	}
	nan := math.NaN()
	return survey.Vector{East: nan, North: nan, EE: nan, NN: nan}
}

func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

// ratio is a share; NaN of nothing.
func ratio(part, whole int) float64 {
	if whole == 0 {
		return math.NaN()
	}
	return float64(part) / float64(whole)
}

func distrustedThere(q *survey.Session) float64 {
	if q.Sampled == 0 {
		return math.NaN()
	}
	return q.DistrustedThere
}

// sessionPage is what the report says of one session.
type sessionPage struct {
	Name, Crew, When, Sentence string
	Facts                      []fact
}

// sessionPages are in the order of the sessions' names: nobody is ranked.
func (e *edition) sessionPages() (pages []sessionPage) {
	for i := range e.Sessions[:min(len(e.Sessions), maxRows)] {
		q := &e.Sessions[i]
		p := sessionPage{Name: q.Name, Crew: orNone(q.Crew), Sentence: q.Sentence}
		if !q.First.IsZero() {
			p.When = q.First.UTC().Format("2 Jan 2006 15:04") + " to " + q.Last.UTC().Format("2 Jan 2006 15:04") + " UTC"
		}
		p.Facts = []fact{
			{Name: "Readings", Value: fmt.Sprintf("%s, %s used on %s of %s", grouped(q.Readings), grouped(q.Used), counted(q.Lines, "record"), counted(q.Sheets, "sheet"))},
			{Name: "Positions from", Value: orNone(q.Positions)},
			{Name: "Seen by others", Value: fmt.Sprintf("%s of these records were read in other sessions too, %s by other crews", grouped(q.OtherSessions), grouped(q.OtherCrews))},
		}
		if q.Used > 0 {
			p.Facts = append(
				p.Facts,
				fact{Name: "Bias", Value: fmt.Sprintf("%s m to the right of walking, on average", signed(q.BiasM, 3))},
				fact{Name: "Noise", Value: fmt.Sprintf("%s m, one standard deviation about each trace's mean", fixed(q.NoiseM, 3))},
			)
		}
		if q.Sampled > 0 {
			p.Facts = append(p.Facts, fact{Name: "Distrusted", Value: fmt.Sprintf(
				"%s of the readings; of all readings of this job at places as congested, %s (another line near in %s of them)",
				percent(float64(q.Distrusted), float64(q.Readings)), percent(q.DistrustedThere, 1), percent(float64(q.Congested), float64(q.Sampled)))})
		}
		checks := "none: a reading on a known mark would tell its positions from the map"
		if q.Checks > 0 {
			checks = fmt.Sprintf("%s, median %s m east, %s m north of the mark", grouped(q.Checks), signed(q.CheckEast, 3), signed(q.CheckNorth, 3))
		}
		p.Facts = append(p.Facts, fact{Name: "Control checks", Value: checks})
		pages = append(pages, p)
	}
	return pages
}
