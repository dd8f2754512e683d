//go:build ignore

// Generate writes the tables of this folder from PROJ's database, which holds
// the EPSG Geodetic Parameter Dataset (Debian: /usr/share/proj/proj.db of
// proj-data, beside proj-bin).
//
//	go run generate.go -db /usr/share/proj/proj.db
package main

import (
	"database/sql"
	"flag"
	"fmt"
	"log"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	_ "modernc.org/sqlite"
)

var (
	dbPath = flag.String("db", "/usr/share/proj/proj.db", "PROJ's database")
	folder = flag.String("out", ".", "folder to write the tables to")
	db     *sql.DB
	origin string // what the tables were made from
)

// methods are the projection methods that the package has.
const methods = "(1024,1051,9801,9802,9804,9805,9807,9809,9810,9812,9815,9820,9822,9829,9830)"

// statePlane finds the conversions of US State Plane zones: 1983 and 1927, and
// those of 1927 that are named otherwise.
const statePlane = "(c.name like 'SPCS83%' or c.name like '% CS27%' or c.name like 'Arizona Coordinate System%' or c.name like 'Michigan State Plane%')"

// national are further systems: statewide ones of the USA, Canada, national
// grids, and at least one for every projection method.
var national = []int{
	2036, 2039, 2056, 2100, 2154, 2157, 2180, 2193, 2953, 2960, 2961, 2985, 3005, 3006, 3031, 3035, 3045, 3067, 3078, 3081, 3083,
	3085, 3086, 3088, 3107, 3111, 3112, 3125, 3141, 3161, 3162, 3168, 3174, 3175, 3309, 3310, 3338, 3347, 3375, 3376,
	3395, 3400, 3401, 3402, 3403, 3413, 3414, 3415, 3416, 3417, 3448, 3571, 3573, 3577, 3578, 3579, 3644, 3739, 3763, 3774, 3775, 3776, 3777, 3778, 3779,
	3794, 3812, 3844, 3857, 3906, 3912, 3978, 3979, 3994, 3995, 3996, 4417, 4479, 4647, 5041, 5042, 5069, 5070, 5070, 5072,
	5316, 5367, 5490, 5514, 5641, 5643, 5650, 5880, 6201, 6312, 6350, 6372, 6393, 6414, 6434, 6497, 6508, 6556, 6557, 6580, 6591, 6610, 6637,
	6962, 6984, 6991, 7760, 7843, 7899, 8857, 9311, 9377, 21781, 23031, 23032, 24200, 25884, 27200, 27571, 27572, 27573, 27574, 27700,
	28348, 28349, 28350, 28351, 28352, 28353, 28354, 28355, 28356, 28357, 28358,
	7846, 7847, 7848, 7849, 7850, 7851, 7852, 7853, 7854, 7855, 7856, 7857, 7858, 7859,
	28991, 28992, 29871, 29872, 29873, 29902, 29903, 31254, 31255, 31256, 31287, 31297, 31370, 31466, 31467, 31468, 31469, 31985, 32661, 32761,
	32180, 32181, 32182, 32183, 32184, 32185, 32186, 32187, 32188, 32189, 32190, 32191, 32192, 32193, 32194, 32195, 32196, 32197, 32198,
	2945, 2946, 2947, 2948, 2949, 2950, 2951, 2952, 3797, 3798, 3799,
	2027, 2028, 2029, 2030, 3002, 3032, 3388, 26898, 26899, 9947, 9945, 9944,
}

// frames are the geographic systems between which transformations are kept;
// the reference frames of the world, of North America and of Europe, and the
// national ones that the projected systems rest on.
const frames = `select distinct datum_code from geodetic_crs where auth_name='EPSG' and datum_auth_name='EPSG' and (
	name like 'ITRF%' or name like 'ETRF%' or name like 'WGS 84%' or name like 'NAD83%' or name like 'IGS%' or name like 'GDA%' or
	name in ('ETRS89','OSGB36','Amersfoort','CH1903','CH1903+','CHTRS95','NZGD49','NZGD2000','RGF93 v1','RGF93 v2','RGF93 v2b','NTF','DHDN','MGI','BD72','BD72',
	'TM65','TM75','IRENET95','ED50','SWEREF99','EUREF-FIN','GGRS87','SIRGAS 2000','Jamaica 1969','JAD69','JAD2001','Belge 1972','S-JTSK','Pulkovo 1942(58)','NKG_ETRF00'))`

func main() {
	log.SetFlags(0)
	flag.Parse()
	var err error
	if db, err = sql.Open("sqlite", "file:"+*dbPath+"?mode=ro&immutable=1"); err != nil {
		log.Fatal(err)
	}
	defer db.Close()
	meta := map[string]string{}
	for _, r := range query("select key, value from metadata") {
		meta[r[0]] = r[1]
	}
	origin = fmt.Sprintf("EPSG Geodetic Parameter Dataset %s of %s, by way of PROJ %s", meta["EPSG.VERSION"], meta["EPSG.DATE"], meta["PROJ.VERSION"])

	write("ellipsoid.csv", "code|name|semi-major axis, m|inverse flattening, 0 for a sphere", ellipsoids())
	write("meridian.csv", "code|name|degrees east of Greenwich", meridians())
	write("datum.csv", "code|name|short name|ellipsoid|prime meridian|other names;... (deprecated ones last)", datums())
	write("geographic.csv", "code|name|datum|unit of angle", geographic())
	projected, conversions := projected()
	write("conversion.csv", "code|name|method|parameter=value (degrees, metres or as said)|...", conversions)
	write("projected.csv", "code|name|geographic|conversion|unit|west south east north of its area of use", projected)
	write("helmert.csv", "code|name|source datum|target datum|accuracy m|convention PV or CF|tx ty tz m|rx ry rz mas|s ppb|rates of the seven, a year|reference epoch", helmerts())
}

func query(q string, args ...any) [][]string {
	rows, err := db.Query(q, args...)
	if err != nil {
		log.Fatalf("%v\n%s", err, q)
	}
	defer rows.Close()
	columns, _ := rows.Columns()
	var out [][]string
	for rows.Next() {
		cells := make([]any, len(columns))
		for i := range cells {
			cells[i] = new(sql.NullString)
		}
		if err := rows.Scan(cells...); err != nil {
			log.Fatal(err)
		}
		row := make([]string, len(columns))
		for i := range cells {
			row[i] = cells[i].(*sql.NullString).String
		}
		out = append(out, row)
	}
	return out
}

func write(name, columns string, lines []string) {
	text := "# " + origin + ". Terms of use: README.md\n# " + columns + "\n" + strings.Join(lines, "\n") + "\n"
	if err := os.WriteFile(filepath.Join(*folder, name), []byte(text), 0o644); err != nil {
		log.Fatal(err)
	}
	log.Printf("%-16s %5d lines %7d bytes", name, len(lines), len(text))
}

func ellipsoids() (out []string) {
	for _, r := range query(`select code, name, semi_major_axis, uom_code, inv_flattening, semi_minor_axis from ellipsoid
		where auth_name='EPSG' order by cast(code as int)`) {
		a := number(r[2], r[3])
		inv := r[4]
		if inv == "" {
			semi, _ := new(big.Rat).SetString(r[5])
			major, _ := new(big.Rat).SetString(r[2])
			inv = "0"
			if d := new(big.Rat).Sub(major, semi); d.Sign() != 0 {
				inv = shortest(d.Quo(major, d))
			}
		}
		out = append(out, join(r[0], r[1], a, trim(inv)))
	}
	return out
}

func meridians() (out []string) {
	for _, r := range query(`select code, name, longitude, uom_code from prime_meridian where auth_name='EPSG' order by cast(code as int)`) {
		out = append(out, join(r[0], r[1], number(r[2], r[3])))
	}
	return out
}

func datums() (out []string) {
	alias := map[string][]string{}
	for _, r := range query(`select distinct code, alt_name from alias_name where table_name='geodetic_datum' and auth_name='EPSG' order by alt_name`) {
		alias[r[0]] = append(alias[r[0]], r[1])
	}
	for _, r := range query(`select d.code, d.name, coalesce((select g.name from geodetic_crs g where g.auth_name='EPSG' and g.datum_code=d.code
			and g.type!='other' order by g.deprecated, g.type, cast(g.code as int) limit 1), d.name), ellipsoid_code, prime_meridian_code
		from geodetic_datum d where d.auth_name='EPSG' order by d.deprecated, cast(d.code as int)`) {
		out = append(out, join(r[0], r[1], r[2], r[3], r[4], strings.Join(alias[r[0]], ";")))
	}
	return out
}

func geographic() (out []string) {
	for _, r := range query(`select g.code, g.name, g.datum_code, u.code from geodetic_crs g
		join axis a on a.coordinate_system_code=g.coordinate_system_code and a.coordinate_system_auth_name='EPSG' and a.coordinate_system_order=1
		join unit_of_measure u on u.code=a.uom_code and u.auth_name='EPSG'
		where g.auth_name='EPSG' and g.type like 'geographic%' and u.code in (9122, 9105, 9102) order by cast(g.code as int)`) {
		out = append(out, join(r...))
	}
	return out
}

// projected are the projected systems and the conversions that they use.
func projected() (systems, conversions []string) {
	list := strings.Trim(strings.Join(strings.Fields(fmt.Sprint(national)), ","), "[]")
	rows := query(`select p.code, p.name, p.geodetic_crs_code, p.conversion_code, a.uom_code, e.west_lon, e.south_lat, e.east_lon, e.north_lat,
			c.name, c.method_code,
			param1_code, param1_value, param1_uom_code, param2_code, param2_value, param2_uom_code, param3_code, param3_value, param3_uom_code,
			param4_code, param4_value, param4_uom_code, param5_code, param5_value, param5_uom_code, param6_code, param6_value, param6_uom_code,
			param7_code, param7_value, param7_uom_code
		from projected_crs p
		join conversion_table c on c.code=p.conversion_code and c.auth_name='EPSG' and p.conversion_auth_name='EPSG'
		join geodetic_crs g on g.code=p.geodetic_crs_code and g.auth_name='EPSG'
		join axis a on a.coordinate_system_code=p.coordinate_system_code and a.coordinate_system_auth_name='EPSG' and a.coordinate_system_order=1
		join usage u on u.object_table_name='projected_crs' and u.object_auth_name='EPSG' and u.object_code=p.code
		join extent e on e.code=u.extent_code and e.auth_name='EPSG'
		where p.auth_name='EPSG' and p.deprecated=0 and c.method_code in ` + methods + ` and (
			(c.name like 'UTM zone%' and (g.name in ('WGS 84','ETRS89','NAD27','SIRGAS 2000') or g.name like 'NAD83%'))
			or (g.name='NAD27' or g.name like 'NAD83%') and ` + statePlane + `
			or cast(p.code as int) in (` + list + `))
		group by p.code order by cast(p.code as int)`)
	used := map[string]string{}
	for _, r := range rows {
		area := strings.Join([]string{trim(r[5]), trim(r[6]), trim(r[7]), trim(r[8])}, " ")
		systems = append(systems, join(r[0], r[1], r[2], r[3], r[4], area))
		line := []string{r[3], r[9], r[10]}
		for i := 11; i < len(r); i += 3 {
			if r[i] != "" {
				line = append(line, r[i]+"="+parameter(r[i+1], r[i+2]))
			}
		}
		used[r[3]] = join(line...)
	}
	for _, line := range used {
		conversions = append(conversions, line)
	}
	slices.SortFunc(conversions, func(a, b string) int { return leading(a) - leading(b) })
	return systems, conversions
}

var convention = map[string]string{
	"1031": "PV", "1032": "CF", "1033": "PV", "1035": "PV", "1037": "PV", "1038": "CF", "9603": "PV", "9606": "PV", "9607": "CF",
	"1053": "PV", "1054": "PV", "1055": "PV", "1056": "CF", "1057": "CF", "1058": "CF", "1065": "PV",
}

// fixed are the transformations without time that are kept: where EPSG has
// several for a pair, the one for the country as a whole.
var fixed = []int{
	1193, 1272, 1314, 1509, 1618, 1619, 1646, 1647, 1651, 1673, 1676, 1701, 1753, 1776, 1777, 1953, 1954, 1564,
	4830, 4833, 7667, 7668, 8048, 9145, 9756, 9788, 9960, 9961, 9281, 10139, 10140, 10141, 10142, 15926, 15927, 15928, 15929,
}

// leftOut are time-dependent ones to or from an ensemble, which has no epoch,
// and outdated ones for which EPSG has a better path.
var leftOut = []int{9225, 9686, 9688, 9690, 6313, 6315, 6392}

func helmerts() (out []string) {
	place := map[string]int{}
	for _, r := range query(`select h.code, h.name, s.datum_code, t.datum_code, h.accuracy, h.method_code,
			tx, translation_uom_code, ty, translation_uom_code, tz, translation_uom_code,
			rx, rotation_uom_code, ry, rotation_uom_code, rz, rotation_uom_code, scale_difference, scale_difference_uom_code,
			rate_tx, rate_translation_uom_code, rate_ty, rate_translation_uom_code, rate_tz, rate_translation_uom_code,
			rate_rx, rate_rotation_uom_code, rate_ry, rate_rotation_uom_code, rate_rz, rate_rotation_uom_code,
			rate_scale_difference, rate_scale_difference_uom_code, epoch
		from helmert_transformation_table h
		join geodetic_crs s on s.auth_name='EPSG' and s.code=h.source_crs_code
		join geodetic_crs t on t.auth_name='EPSG' and t.code=h.target_crs_code
		where h.auth_name='EPSG' and h.deprecated=0 and s.datum_code in (` + frames + `) and t.datum_code in (` + frames + `)
		order by cast(h.code as int)`) {
		conv, known := convention[r[5]]
		if !known || nothing(r[6:]) { // null operations are the package's own table, with their size
			continue
		}
		code := leading(r[0] + "|")
		if r[34] == "" && !slices.Contains(fixed, code) || slices.Contains(leftOut, code) {
			continue
		}
		line := []string{r[0], r[1], r[2], r[3], trim(r[4]), conv}
		var values []string
		for i := 6; i < 34; i += 2 {
			values = append(values, helmertValue(r[i], r[i+1]))
		}
		seven := func(v []string) []string {
			return []string{strings.Join(v[0:3], " "), strings.Join(v[3:6], " "), v[6]}
		}
		line = append(line, seven(values[:7])...)
		if r[34] != "" {
			line = append(line, strings.Join(values[7:], " "), trim(r[34]))
		} else {
			line = append(line, "", "")
		}
		// Of two for one pair the later one stays: EPSG's revisions only add digits.
		pair := r[2] + ">" + r[3]
		if i, twice := place[pair]; twice {
			out[i] = join(line...)
			continue
		}
		place[pair] = len(out)
		out = append(out, join(line...))
	}
	return out
}

// nothing says whether all values (with their units between) are zero.
func nothing(cells []string) bool {
	for i := 0; i < 28; i += 2 {
		if v, _ := strconv.ParseFloat(cells[i], 64); v != 0 {
			return false
		}
	}
	return true
}

// helmertValue brings a Helmert parameter to metres, milliarcseconds, parts
// per billion, and to the same a year.
func helmertValue(value, unit string) string {
	factor := map[string]string{
		"": "1", "9001": "1", "1025": "1/1000", "1033": "1/100", "9104": "1000", "9113": "324", "1031": "1", "9109": "206264806247/1000000000", "9202": "1000", "1028": "1", "9201": "1000000000",
		"1042": "1", "1027": "1/1000", "1034": "1/100", "1043": "1000", "1032": "1", "1041": "1000", "1030": "1",
	}[unit]
	if unit == "9101" { // radians
		factor = "206264806247096/1000000"
	}
	if factor == "" {
		log.Fatalf("unit %s of a Helmert parameter", unit)
	}
	if value == "" {
		return "0"
	}
	v, ok := new(big.Rat).SetString(value)
	f, _ := new(big.Rat).SetString(factor)
	if !ok {
		log.Fatalf("value %q", value)
	}
	return shortest(v.Mul(v, f))
}

// parameter is the value of a projection parameter with feet kept as feet.
func parameter(value, unit string) string {
	switch unit {
	case "9002":
		return trim(value) + "ft"
	case "9003":
		return trim(value) + "ftUS"
	}
	return number(value, unit)
}

var sexagesimal = regexp.MustCompile(`^(-?)(\d+)(?:\.(\d*))?$`)

// number brings a value to degrees, metres or one.
func number(value, unit string) string {
	if unit == "9110" { // degrees.minutes seconds, DDD.MMSSsss
		m := sexagesimal.FindStringSubmatch(value)
		if m == nil {
			log.Fatalf("sexagesimal %q", value)
		}
		digits := m[3] + "0000"
		minutes, seconds := digits[:2], strings.TrimRight(digits[2:4]+"."+digits[4:], ".")
		out, _ := new(big.Rat).SetString(m[2])
		mm, _ := new(big.Rat).SetString(minutes)
		ss, _ := new(big.Rat).SetString(seconds)
		out.Add(out, mm.Quo(mm, big.NewRat(60, 1)))
		out.Add(out, ss.Quo(ss, big.NewRat(3600, 1)))
		return m[1] + shortest(out)
	}
	v, ok := new(big.Rat).SetString(value)
	if !ok {
		log.Fatalf("value %q", value)
	}
	factor := "1"
	switch unit {
	case "9001", "9102", "9122", "9201", "":
	case "9105":
		factor = "9/10"
	case "9002":
		factor = "3048/10000"
	case "9003":
		factor = "1200/3937"
	default:
		f := query("select conv_factor, type from unit_of_measure where auth_name='EPSG' and code=?", unit)
		if len(f) == 0 || f[0][1] == "angle" {
			log.Fatalf("unit %s of %s", unit, value)
		}
		factor = f[0][0]
	}
	f, _ := new(big.Rat).SetString(factor)
	return shortest(v.Mul(v, f))
}

func shortest(r *big.Rat) string {
	f, _ := r.Float64()
	return strconv.FormatFloat(f, 'f', -1, 64)
}

func trim(s string) string { return strings.TrimSuffix(s, ".0") }

func join(cells ...string) string {
	for _, c := range cells {
		if strings.ContainsAny(c, "|\n") {
			log.Fatalf("cell %q", c)
		}
	}
	return strings.TrimRight(strings.Join(cells, "|"), "|")
}

func leading(line string) int {
	n, _ := strconv.Atoi(line[:strings.IndexByte(line, '|')])
	return n
}
