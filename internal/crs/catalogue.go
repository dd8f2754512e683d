package crs

import (
	"embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed epsg/*.csv
var tables embed.FS

// datum is a geodetic reference frame or datum.
type datum struct {
	code      int    // EPSG; 0 for one that only a definition knows
	name      string // as EPSG names it
	short     string // name of its geographic system
	ellipsoid ellipsoid
	toWGS84   *helmert // from a definition's TOWGS84, where it has one
}

// meridian is a prime meridian.
type meridian struct {
	name string
	deg  float64 // east of Greenwich
}

// catalogue is what the embedded EPSG tables hold, by code or plain name.
// Lines of systems stay text until somebody asks for one.
type catalogue struct {
	ellipsoids    map[int]ellipsoid
	meridians     map[int]meridian
	datums        map[int]*datum
	datumMeridian map[int]int         // datum -> prime meridian
	datumByName   map[string][]*datum // own names before other names, deprecated datums last
	geographic    map[int][]string
	geoByName     map[string]int
	conversions   map[int][]string
	projected     map[int][]string
	codes         []int // of projected systems, in order
}

// epsg is the catalogue, read once.
var epsg = sync.OnceValue(func() *catalogue {
	c := &catalogue{
		ellipsoids: map[int]ellipsoid{}, meridians: map[int]meridian{}, datums: map[int]*datum{}, datumMeridian: map[int]int{},
		datumByName: map[string][]*datum{}, geographic: map[int][]string{}, geoByName: map[string]int{},
		conversions: map[int][]string{}, projected: map[int][]string{},
	}
	for _, r := range table("ellipsoid") {
		c.ellipsoids[integer(r[0])] = newEllipsoid(r[1], decimal(r[2]), decimal(r[3]))
	}
	for _, r := range table("meridian") {
		c.meridians[integer(r[0])] = meridian{r[1], decimal(r[2])}
	}
	datums := table("datum")
	for _, r := range datums {
		d := &datum{code: integer(r[0]), name: r[1], short: r[2], ellipsoid: c.ellipsoids[integer(r[3])]}
		c.datums[d.code], c.datumMeridian[d.code] = d, integer(r[4])
		key := datumKey(d.name)
		c.datumByName[key] = append(c.datumByName[key], d)
	}
	for _, r := range datums {
		if len(r) <= 5 {
			continue
		}
		d := c.datums[integer(r[0])]
		for n := range strings.SplitSeq(r[5], ";") {
			if key := datumKey(n); !slices.Contains(c.datumByName[key], d) {
				c.datumByName[key] = append(c.datumByName[key], d)
			}
		}
	}
	for _, r := range table("geographic") {
		code := integer(r[0])
		c.geographic[code] = r
		// The two-dimensional system of a name has the lower code or the name alone.
		if key := plain(r[1]); c.geoByName[key] == 0 {
			c.geoByName[key] = code
		}
	}
	for _, r := range table("conversion") {
		c.conversions[integer(r[0])] = r
	}
	for _, r := range table("projected") {
		code := integer(r[0])
		c.projected[code] = r
		c.codes = append(c.codes, code)
	}
	return c
})

// datumKey is a datum's name as it is looked up: ESRI puts "D_" before it, and
// EPSG adds "ensemble" after some.
func datumKey(name string) string {
	name = strings.TrimSuffix(strings.ToLower(name), " ensemble")
	return plain(strings.TrimPrefix(name, "d_"))
}

// system builds the system of an EPSG code.
func (c *catalogue) system(code int) (*System, error) {
	if r, ok := c.geographic[code]; ok {
		d := c.datums[integer(r[2])]
		return &System{
			code: code, name: r[1], definition: "EPSG:" + r[0], datum: d,
			meridian: c.meridians[c.datumMeridian[d.code]], unit: unitsByCode[integer(r[3])],
		}, nil
	}
	r, ok := c.projected[code]
	if !ok {
		return nil, fmt.Errorf("EPSG:%d is not among the %d projected and %d geographic systems that are built in: give the system's WKT (the text of its .prj) instead",
			code, len(c.projected), len(c.geographic))
	}
	base, err := c.system(integer(r[2]))
	if err != nil {
		return nil, err
	}
	s, err := c.convert(base, integer(r[3]))
	if err != nil {
		return nil, fmt.Errorf("EPSG:%d: %w", code, err)
	}
	s.code, s.name, s.definition = code, r[1], "EPSG:"+r[0]
	s.unit = unitsByCode[integer(r[4])]
	for i, f := range strings.Fields(r[5]) {
		s.area[i] = decimal(f)
	}
	return s, nil
}

// named is the code of the system of a plain name, 0 if there is none.
func (c *catalogue) named(name string) int {
	if code := c.geoByName[name]; code != 0 || name == "" {
		return code
	}
	for _, code := range c.codes {
		if plain(c.projected[code][1]) == name {
			return code
		}
	}
	return 0
}

// convert is a geographic system with a conversion of the table applied, in
// metres.
func (c *catalogue) convert(base *System, conversion int) (*System, error) {
	r, ok := c.conversions[conversion]
	if !ok {
		return nil, fmt.Errorf("conversion %d is not built in", conversion)
	}
	v := noValues()
	for _, cell := range r[3:] {
		key, value, _ := strings.Cut(cell, "=")
		role, _ := roleOf(integer(key), "")
		v[role] = quantity(value)
	}
	m := methodOf(integer(r[2]), "")
	if m == nil {
		return nil, unknownMethod("EPSG method " + r[2])
	}
	return newProjected(base, m, v, metre)
}

// quantity is a parameter's value: a number, or one in feet.
func quantity(s string) float64 {
	if v, ok := strings.CutSuffix(s, "ftUS"); ok {
		return decimal(v) * 1200 / 3937
	}
	if v, ok := strings.CutSuffix(s, "ft"); ok {
		return decimal(v) * footM
	}
	return decimal(s)
}

// table is an embedded table's lines, cut at the bars. The tables are part of
// the program: what is wrong in them, a test finds.
func table(name string) [][]string {
	text, err := tables.ReadFile("epsg/" + name + ".csv")
	if err != nil {
		panic(err) // a build without its tables
	}
	var out [][]string
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimRight(line, "\r\n"); line != "" && line[0] != '#' {
			out = append(out, strings.Split(line, "|"))
		}
	}
	return out
}

func integer(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

func decimal(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}
