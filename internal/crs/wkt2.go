package crs

import "fmt"

// projectedWKT2 reads PROJCRS of WKT2, 2015 and 2019 (ISO 19162, OGC 18-010).
func projectedWKT2(n *node) (*System, error) {
	g := n.child("BASEGEOGCRS", "BASEGEODCRS")
	if g == nil {
		return nil, fmt.Errorf("PROJCRS has no BASEGEOGCRS")
	}
	base, err := geographicWKT(g)
	if err != nil {
		return nil, err
	}
	un := lengthUnit(n)
	if un == nil {
		return nil, fmt.Errorf("PROJCRS has no LENGTHUNIT: add the unit of its axes")
	}
	u, err := unitOf(un, linear)
	if err != nil {
		return nil, err
	}
	c := n.child("CONVERSION")
	if c == nil {
		return nil, fmt.Errorf("PROJCRS has no CONVERSION")
	}
	m, v, err := conversionWKT2(c, base.unit, u)
	if err != nil {
		return nil, err
	}
	if err := checkAxes(n, m, v); err != nil {
		return nil, err
	}
	s, err := newProjected(base, m, v, u)
	if err != nil {
		return nil, err
	}
	s.name, s.notes = n.text(0), base.notes
	s.noteUnit(un)
	return s, nil
}

// lengthUnit is the unit of the axes: after them, or in each of them.
func lengthUnit(n *node) *node {
	if u := n.child("LENGTHUNIT", "UNIT"); u != nil {
		return u
	}
	for _, a := range n.children("AXIS") {
		if u := a.child("LENGTHUNIT", "UNIT"); u != nil {
			return u
		}
	}
	return nil
}

func conversionWKT2(c *node, angle, length unit) (*method, values, error) {
	v := noValues()
	mn := c.child("METHOD", "PROJECTION")
	if mn == nil {
		return nil, v, fmt.Errorf("CONVERSION[%q] has no METHOD", clip(c.text(0)))
	}
	m := methodOf(mn.epsgID(), mn.text(0))
	if m == nil {
		return nil, v, unknownMethod(mn.text(0))
	}
	for _, p := range c.children("PARAMETER") {
		r, known := roleOf(p.epsgID(), p.text(0))
		if !known {
			return nil, v, fmt.Errorf("parameter %q of the method %q is not known: give the parameter's EPSG name, or the system's EPSG code", clip(p.text(0)), m.name)
		}
		x, err := p.number(1)
		if err != nil {
			return nil, v, err
		}
		if v.has(r) {
			return nil, v, fmt.Errorf("parameter %q is given twice", clip(p.text(0)))
		}
		if v[r], err = inOwnUnit(x, r.kind(), p, angle, length); err != nil {
			return nil, v, err
		}
	}
	v, err := m.complete(v)
	return m, v, err
}

// inOwnUnit brings a parameter to degrees, metres or one: by its own unit, or
// else by that of the system.
func inOwnUnit(x float64, kind byte, p *node, angle, length unit) (float64, error) {
	un := p.child("ANGLEUNIT", "LENGTHUNIT", "SCALEUNIT", "UNIT")
	var err error
	switch kind {
	case 'a':
		if un != nil {
			if angle, err = unitOf(un, angular); err != nil {
				return 0, err
			}
		}
		if angle == degree {
			return x, nil
		}
		return x * angle.factor / radPerDegree, nil
	case 'l':
		if un != nil {
			if length, err = unitOf(un, linear); err != nil {
				return 0, err
			}
		}
		return x * length.factor, nil
	}
	if un != nil {
		f, err := un.number(1)
		if err != nil {
			return 0, err
		}
		x *= f
	}
	return x, nil
}

// abridged reads the Helmert parameters of a BOUNDCRS's transformation.
func abridged(op *node) (*helmert, error) {
	h := &helmert{name: "transformation of the definition", accuracyM: nan}
	mn := op.child("METHOD")
	if mn == nil {
		return nil, fmt.Errorf("ABRIDGEDTRANSFORMATION[%q] has no METHOD", clip(op.text(0)))
	}
	sign := 1.0
	switch mn.epsgID() {
	case 9603, 1031, 1035, 9606, 1033, 1037:
	case 9607, 1032, 1038:
		sign = -1 // coordinate frame
	default:
		return nil, fmt.Errorf("transformation method %q in BOUNDCRS is not known: only Helmert's is; give the EPSG code of the system", clip(mn.text(0)))
	}
	for _, p := range op.children("PARAMETER") {
		x, err := p.number(1)
		if err != nil {
			return nil, err
		}
		f := 1.0
		if un := p.child("LENGTHUNIT", "ANGLEUNIT", "SCALEUNIT", "UNIT"); un != nil {
			if f, err = un.number(1); err != nil {
				return nil, err
			}
		}
		switch code := p.epsgID(); code {
		case 8605, 8606, 8607:
			h.t[code-8605] = x * f
		case 8608, 8609, 8610:
			if f == 1 { // no unit: arc seconds
				f = radPerDegree / 3600
			}
			h.r[code-8608] = sign * x * f / masRad
		case 8611:
			switch {
			case p.child("SCALEUNIT", "UNIT") == nil:
				h.s = x * 1000 // parts per million
			case f == 1: // an abridged scale is the whole factor
				h.s = (x - 1) * 1e9
			default:
				h.s = x * f * 1e9
			}
		default:
			return nil, fmt.Errorf("parameter %q of a BOUNDCRS transformation is not known", clip(p.text(0)))
		}
	}
	return h, nil
}
