package read

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
)

// auto asks for the plane that the records suggest.
const auto = "auto"

// plane is the job's working plane: a projected system in metres.
type plane struct {
	system      *crs.System
	grids       []*crs.Grid // that operations to it may use
	solarOffset int         // of the sun's time in the middle of the records, seconds
}

// choosePlane is the plane that the options name or, for "auto", the first
// projected layer's own projection in metres. Where no layer has a conformal
// one, on which scale is the same in all directions, it is the UTM zone around
// the middle of the first layer.
func choosePlane(definition string, layers []*recordsLayer) (*plane, error) {
	if definition != "" && definition != auto {
		s, err := crs.Parse(definition)
		if err != nil {
			return nil, fmt.Errorf("the working plane: %w", err)
		}
		if !s.Projected() {
			return nil, fmt.Errorf("the working plane %s is geographic: name a projected system, or %q", s.Name(), auto)
		}
		return &plane{system: s.Metres()}, nil
	}
	for _, l := range layers {
		if l.system.Projected() && l.system.Conformal() {
			return &plane{system: l.system.Metres()}, nil
		}
	}
	for _, l := range layers {
		at, ok, err := l.middleDegrees()
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		zone, err := crs.UTM(l.system, at[0], at[1])
		if err != nil {
			return nil, fmt.Errorf("the working plane: no UTM zone around %.4f, %.4f of %s: %w", at[0], at[1], l.Name, err)
		}
		return &plane{system: zone.Metres()}, nil
	}
	return nil, errors.New(`the working plane cannot be told: no records file has a line; name a projected system under "plane"`)
}

// factors are the point scale factor and the convergence at p.
func (pl *plane) factors(p orb.Point) (scale, convergence float64, err error) {
	scale, convergence, err = pl.system.Factors(p)
	if err == nil && !(scale > 0 && scale < math.Inf(1)) {
		err = fmt.Errorf("the scale factor of %s is %g there", pl.system.Name(), scale)
	}
	return scale, convergence, err
}

// projection takes positions of one file to the plane. The zero projection is
// none.
type projection struct {
	from      *crs.System
	epoch     float64 // of the positions, decimal year; 0 not known
	operation *crs.Operation
	outside   string // why a position has no place in the plane: the same words for all
}

// projection from a system; epoch is the date of the positions as a decimal
// year, 0 where it is not known.
func (pl *plane) projection(from *crs.System, epoch float64) (projection, error) {
	op, err := crs.NewOperationAt(from, pl.system, crs.Options{Epoch: epoch, Grids: pl.grids})
	if err != nil {
		return projection{}, err
	}
	outside := fmt.Sprintf("cannot be taken to %s (%s): check the position, the order of its axes and its system", pl.system.Name(), op.Name())
	return projection{from, epoch, op, outside}, nil
}

// epochMissing words the error of an operation that needs an epoch, for whoever
// writes the config: it is theirs to mend, and so an error even where a file
// could be set aside. It is nil for any other error.
func epochMissing(file File, err error) error {
	if !errors.Is(err, crs.ErrEpoch) {
		return nil
	}
	return fmt.Errorf("%s%s: %w, as in frame: {name: %s, epoch: 2026.4}", file.Name, file.named(), err, cmp.Or(file.Frame, "ITRF2014"))
}

// named says where the config names a file.
func (f File) named() string {
	if f.At == "" {
		return ""
	}
	return " (named in " + f.At + ")"
}

// apply takes one position to the plane; why says that it has none there.
func (p projection) apply(at orb.Point) (to orb.Point, why string) {
	to, err := p.operation.Apply(at)
	if err != nil || !finite(to) {
		return to, p.outside
	}
	return to, ""
}

func finite(p orb.Point) bool {
	return !math.IsNaN(p[0]) && !math.IsInf(p[0], 0) && !math.IsNaN(p[1]) && !math.IsInf(p[1], 0)
}

// parseSystem reads a file's coordinate system, the config's word before the
// file's own.
func parseSystem(file File, own string) (*crs.System, error) {
	definition := file.CRS
	if definition == "" {
		definition = own
	}
	if definition == "" {
		return nil, errors.New(`nothing says which coordinate system it is in: add "crs"`)
	}
	s, err := crs.Parse(definition)
	if err != nil || file.Frame == "" {
		return s, err
	}
	return s.InFrame(file.Frame)
}
