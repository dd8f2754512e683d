package starter

import "strings"

// kind is what the values of a quantity are like.
type kind int

const (
	text       kind = iota
	identifier      // hardly two rows have the same
	word            // of asfound's own words, or a few that can be mapped to them
	utility         // a few words
	number
	latitude // degrees
	longitude
	northing // plane coordinates
	easting
	moment
	year
)

// quantity is a key of a source's columns, and what people call it. The names
// are plain words of the trade and of measurement. One after a tilde says so
// little that the values must speak for it too.
type quantity struct {
	key     string
	kind    kind
	measure measure // "" no unit
	names   [][]string
	weak    [][]string
}

func named(key string, k kind, m measure, names string) quantity {
	q := quantity{key: key, kind: k, measure: m}
	for _, n := range strings.Split(names, ",") {
		n = strings.TrimSpace(n)
		if weak, ok := strings.CutPrefix(n, "~"); ok {
			q.weak = append(q.weak, strings.Fields(weak))
		} else {
			q.names = append(q.names, strings.Fields(n))
		}
	}
	return q
}

const (
	yNames = "latitude, lat, y"
	xNames = "longitude, long, lon, lng, x"
	nNames = "northing, north, n, y"
	eNames = "easting, east, e, x"
)

var position = []quantity{
	named("latitude", latitude, "", yNames),
	named("longitude", longitude, "", xNames),
	named("easting", easting, "", eNames),
	named("northing", northing, "", nNames),
}

var truePosition = []quantity{
	named("true_latitude", latitude, "", yNames),
	named("true_longitude", longitude, "", xNames),
	named("true_easting", easting, "", eNames),
	named("true_northing", northing, "", nNames),
}

var (
	taken     = named("time", moment, "", "time, utc, datetime, date time, date and time, timestamp, time stamp, local, local time, date, when, taken, recorded, measured, time utc")
	elevation = named("elevation", number, length, "elevation, elev, altitude, alt, ele, height, hgt, z, h")
	accuracy  = named("accuracy", number, length, "accuracy, acc, horizontal accuracy, hacc, h acc, precision, horizontal precision, rms, hrms, sigma, position error, standard deviation, std dev, sd, epe")
	positions = named("positions", text, "", "positions, base, base station, reference station, network, correction, corrections, correction source, mount point, mountpoint, source of positions, position source")
	uses      = named("utility", utility, "", "utility, util, service, medium, commodity, ~kind, ~type, ~class, ~line type, ~system, ~layer")
	crew      = named("crew", text, "", "crew, team, party, surveyor, operator, technician, locator, field crew")
	receiver  = named("receiver", text, "", "receiver, rx, rcvr, receiver serial, instrument, serial, device")
	session   = named("session", text, "", "session, setup, set up")
	remark    = named("remark", text, "", "remark, remarks, comment, comments, note, notes, description")
	sheet     = named("sheet", text, "", "sheet, drawing, dwg, plan, sheet no, drawing no, plan no, map sheet, project")
	ticket    = named("ticket", text, "", "ticket, dig ticket, request, request no, call, work order, job")
)

// columns are the quantities of each role, in the order in which they are
// written.
var columns = map[role][]quantity{
	records: {
		named("id", identifier, "", "id, asset id, asset, line id, pipe id, cable id, main id, number, no, nr, tag, key, object id, fid, gid, name"),
		sheet,
		named("installed", year, "", "installed, install date, year installed, installation year, year, yr, year laid, laid, built, year built, construction year, constructed"),
		named("material", text, "", "material, matl, mat, mtl"),
		named("quality", text, "", "quality, ql, quality level"),
		named("diameter", number, length, "diameter, diam, dia, size, bore, dn, nominal diameter"),
		named("cover", number, length, "cover, cover depth, depth of cover, depth to top"),
		named("depth_to_centre", number, length, "depth to centre, depth to center, centre depth, center depth"),
		named("depth_to_invert", number, length, "depth to invert, invert depth"),
		named("invert_elevation", number, length, "invert elevation, invert elev, invert level, invert, inv, inv elev, il"),
		named("crown_elevation", number, length, "crown elevation, crown elev, crown, obvert, soffit, top elevation, top of pipe elevation"),
		named("ground_elevation", number, length, "ground elevation, ground elev, ground level, ground, grade, surface elevation, rim elevation, rim"),
	},
	field: append(append([]quantity{
		named("trace", text, "", "trace, line, run, walk, track, segment, line id, traverse"), taken,
	}, position...), elevation, accuracy,
		named("fix", word, "", "fix, fix type, fix quality, gps fix, position type, solution type, ~solution, ~soln, ~quality, ~gps quality, ~status"), positions,
		named("depth", number, length, "depth, dep, depth reading, measured depth"),
		named("current", number, current, "current, curr, signal current, ma, amps, i"),
		named("frequency", number, frequency, "frequency, freq, hz, khz"),
		named("mode", word, "", "mode, locate mode, locating mode, signal mode, ~signal, ~method"),
		named("hookup", word, "", "hookup, hook up, connection, connected, coupling, ~method, ~transmitter"),
		named("separation", number, length, "separation, sep"), uses, crew, receiver, session,
		named("doubt", word, "", "doubt, doubtful, suspect, questionable, uncertain, ~flag"),
		remark, ticket,
	),
	marks: append(append([]quantity{taken}, position...), accuracy, positions, uses, crew, receiver, session, ticket, remark),
	exposures: append(append([]quantity{
		named("id", text, "", "id, hole, test hole, hole no, exposure, th, number, no, name, point"), taken,
	}, position...), elevation, accuracy, positions,
		named("depth", number, length, "depth, dep, depth to top, measured depth"),
		named("diameter", number, length, "diameter, diam, dia, size, outside diameter"), uses,
		named("fitting", text, "", "fitting, valve, hydrant, fitting id, valve id, asset, asset id"), crew, receiver, session, ticket, remark,
	),
	fittings: {named("id", identifier, "", "id, fitting, valve, valve id, hydrant, asset id, asset, number, no, nr, tag, key, object id, fid, gid, name"), sheet},
	control: append(append(append([]quantity{
		named("mark", text, "", "mark, point, point id, monument, benchmark, control point, cp, station, name, id"), taken,
	}, position...), truePosition...), accuracy, positions, crew, receiver, session),
	areas: {
		ticket,
		named("swept", text, "", "swept, date, swept on, date swept, when, day"),
		named("method", text, "", "method, how, mode"),
	},
}

// ofSource are quantities that stand beside the columns of a source.
var ofSource = map[role][]quantity{
	records:  {uses, named("conductor", word, "", "conductor, cond, conducts, signal, carrier")},
	fittings: {uses},
	areas:    {named("utility", utility, "", "utility, util, utilities, swept for, service, ~kind, ~type, ~for")},
}
