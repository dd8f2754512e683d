package starter

// perhaps says which unit the size of the values speaks for, for the comment: it
// is no more than a hint, since a depth of 3 may be feet or metres.
func (q *quantity) perhaps(p *profile) string {
	data := p.data()
	if len(data) == 0 {
		return ""
	}
	middle := data[len(data)/2]
	for _, h := range sizes[q.key] {
		if middle >= h.from && middle < h.to {
			return ", perhaps " + h.unit
		}
	}
	return ""
}

type size struct {
	from, to float64
	unit     string
}

// sizes are what the middle value of a quantity usually is: lines lie one third
// of a metre to three metres deep, pipes have 20 mm to 1.5 m, signals 1 mA to 1 A
// and some hundred hertz to hundreds of kilohertz. Common practice, no source.
var sizes = map[string][]size{
	"depth":           depthSizes,
	"cover":           depthSizes,
	"depth_to_centre": depthSizes,
	"depth_to_invert": depthSizes,
	"diameter":        {{0.015, 1.5, "m"}, {2, 19, "in"}, {60, 2000, "mm"}},
	"current":         {{0.0005, 0.2, "A"}, {2, 5000, "mA"}},
	"frequency":       {{0.2, 200, "kHz"}, {250, 500e3, "Hz"}},
}

var depthSizes = []size{{0.3, 1, "m"}, {1, 3, "m or ft"}, {3, 10, "ft"}, {12, 30, "in"}, {30, 120, "in or cm"}, {120, 300, "cm"}, {300, 3000, "mm"}}
