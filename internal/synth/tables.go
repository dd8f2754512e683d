package synth

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

const (
	footM = 0.3048
	inchM = 0.0254
)

// writeTables writes everything that comes as rows: readings, control checks,
// marks, test holes. Positions are latitudes and longitudes, depths inches,
// currents milliamperes.
func (t *Town) writeTables(dir string) error {
	deg, err := t.degrees()
	if err != nil {
		return err
	}
	w := tables{t, dir, deg}
	for _, write := range []func() error{w.readings, w.checks, w.marks, w.holes} {
		if err := write(); err != nil {
			return fmt.Errorf("write town: %w", err)
		}
	}
	return nil
}

type tables struct {
	t   *Town
	dir string
	deg degrees
}

// table writes one CSV file; rows calls put for every row.
func (w *tables) table(name string, header []string, rows func(put func(cells ...string)) error) (err error) {
	f, err := os.Create(filepath.Join(w.dir, filepath.FromSlash(name)))
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	buffered := bufio.NewWriterSize(f, 1<<16)
	c := csv.NewWriter(io.Writer(buffered))
	var wrote error
	put := func(cells ...string) {
		if e := c.Write(cells); e != nil && wrote == nil {
			wrote = e
		}
	}
	put(header...)
	if err := rows(put); err != nil {
		return err
	}
	c.Flush()
	if wrote == nil {
		wrote = c.Error()
	}
	if wrote == nil {
		wrote = buffered.Flush()
	}
	return wrote
}

var readingsHeader = []string{
	"LINE", "UTC", "LAT", "LON", "POS_ACC_FT", "FIX", "BASE", "DEPTH_IN", "MA", "FREQ", "MODE", "HOOKUP",
	"SEP_IN", "UTIL", "CREW", "RX", "TICKET", "DOUBT",
}

// readings writes a file a crew. A file's traces stand together in the survey
// and its rows are in the order of the traces, as a crew's days go by.
func (w *tables) readings() error {
	traces := w.t.survey.Traces
	for from := 0; from < len(traces); {
		file := traces[from].Readings[0].File
		to := from
		for to < len(traces) && traces[to].Readings[0].File == file {
			to++
		}
		err := w.table(file, readingsHeader, func(put func(...string)) error {
			for i := from; i < to; i++ {
				for k := range traces[i].Readings {
					if err := w.reading(put, &traces[i], &traces[i].Readings[k]); err != nil {
						return err
					}
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		from = to
	}
	return nil
}

func (w *tables) reading(put func(...string), tr *survey.Trace, r *survey.Reading) error {
	lat, lon, err := w.deg.texts(r.Point)
	if err != nil {
		return err
	}
	doubt := ""
	if r.Doubt {
		doubt = "y"
	}
	put(strings.TrimPrefix(tr.ID, r.File+":"), clock(r.Time), lat, lon, accuracy(r.SigmaM), fixWords[r.Fix], tr.Positions,
		number(r.DepthM/inchM, 1), number(r.CurrentA*1000, 2), number(r.FrequencyHz, 0), modeWords[r.Mode], hookupWords[r.Hookup],
		number(r.SeparationM/inchM, 1), utilityCode(tr.Utility), tr.Crew, tr.Receiver, tr.Ticket, doubt)
	return nil
}

func (w *tables) checks() error {
	if len(w.t.survey.Checks) == 0 {
		return nil
	}
	header := []string{"MARK", "UTC", "LAT", "LON", "POS_ACC_FT", "TRUE_LAT", "TRUE_LON", "CREW", "RX", "BASE"}
	return w.table(controlFile, header, func(put func(...string)) error {
		for i := range w.t.survey.Checks {
			c := &w.t.survey.Checks[i]
			lat, lon, err := w.deg.texts(c.Observed)
			if err != nil {
				return err
			}
			trueLat, trueLon, err := w.deg.texts(c.Known)
			if err != nil {
				return err
			}
			who := strings.Split(c.Session, " / ")
			put(c.Mark, clock(c.Time), lat, lon, accuracy(c.SigmaM), trueLat, trueLon, who[0], who[1], c.Positions)
		}
		return nil
	})
}

func (w *tables) marks() error {
	if len(w.t.Marks) == 0 {
		return nil
	}
	return w.table(marksFile, []string{"UTC", "LAT", "LON", "POS_ACC_FT", "BASE", "UTIL", "CREW", "RX", "TICKET"}, func(put func(...string)) error {
		for i := range w.t.Marks {
			m := &w.t.Marks[i]
			lat, lon, err := w.deg.texts(m.Point)
			if err != nil {
				return err
			}
			put(clock(m.Time), lat, lon, accuracy(m.SigmaM), m.Positions, utilityCode(m.Utility), m.Crew, m.Receiver, m.Ticket)
		}
		return nil
	})
}

func (w *tables) holes() error {
	if len(w.t.Holes) == 0 {
		return nil
	}
	header := []string{"HOLE", "UTC", "LAT", "LON", "POS_ACC_FT", "DEPTH_IN", "DIA_IN", "UTIL", "VALVE", "CREW", "RX"}
	return w.table(holesFile, header, func(put func(...string)) error {
		for i := range w.t.Holes {
			h := &w.t.Holes[i]
			lat, lon, err := w.deg.texts(h.Point)
			if err != nil {
				return err
			}
			put(h.ID, clock(h.Time), lat, lon, accuracy(h.SigmaM), number(h.DepthM/inchM, 1), number(h.DiameterM/inchM, 2),
				utilityCode(h.Utility), h.Fitting, h.Crew, h.Receiver)
		}
		return nil
	})
}

func clock(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// accuracy is what a receiver says of its position: the radial rms, in feet.
func accuracy(sigmaM float64) string { return number(sigmaM*math.Sqrt2/footM, 3) }

// number is "" for what is not known.
func number(x float64, decimals int) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', decimals, 64)
}

var (
	fixWords    = map[survey.Fix]string{survey.FixFixed: "fixed", survey.FixFloat: "float"}
	modeWords   = map[survey.Mode]string{survey.ModeActive: "active", survey.ModePassive: "passive", survey.ModeSonde: "sonde"}
	hookupWords = map[survey.Hookup]string{survey.HookupDirect: "direct", survey.HookupClamp: "clamp", survey.HookupInduction: "induction"}
)

// codes are what crews write for the utilities; others are written in capitals.
var codes = map[string]string{"water": "WTR", "gas": "GAS", "electric": "ELE", "communication": "COM", "sewer": "SWR"}

func utilityCode(utility string) string {
	if c, ok := codes[utility]; ok {
		return c
	}
	return strings.ToUpper(utility)
}
