package crs

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// node is a WKT element: KEYWORD[argument, ...]. An argument is a text, a
// number or bare word, or another element.
type node struct {
	keyword string // upper case; empty for a text, number or word
	value   string // of a text, number or word
	quoted  bool
	args    []*node
}

// maxDepth is deeper than any definition nests.
const maxDepth = 24

// parseWKT reads the elements of a text: one system, and the VERTCS that ESRI
// may write after it, behind a comma.
func parseWKT(text string) ([]*node, error) {
	p := &wktReader{text: text}
	var out []*node
	for {
		n, err := p.element(0)
		if err != nil {
			return nil, err
		}
		if n.keyword == "" {
			return nil, fmt.Errorf("%q is no WKT: it begins with a keyword such as PROJCS[", clip(n.value))
		}
		out = append(out, n)
		p.skip()
		if p.at >= len(text) {
			return out, nil
		}
		if text[p.at] == ',' {
			p.at++
		}
	}
}

type wktReader struct {
	text string
	at   int
}

func (p *wktReader) skip() {
	for p.at < len(p.text) && strings.IndexByte(" \t\r\n", p.text[p.at]) >= 0 {
		p.at++
	}
}

func (p *wktReader) element(depth int) (*node, error) {
	p.skip()
	if depth > maxDepth {
		return nil, fmt.Errorf("WKT nests deeper than %d brackets", maxDepth)
	}
	if p.at >= len(p.text) {
		return nil, fmt.Errorf("WKT ends too early after %d bytes: its text was cut off", len(p.text))
	}
	if p.text[p.at] == '"' {
		return p.quoted()
	}
	start := p.at
	for p.at < len(p.text) && strings.IndexByte("[](),\" \t\r\n", p.text[p.at]) < 0 {
		p.at++
	}
	word := p.text[start:p.at]
	if word == "" {
		return nil, fmt.Errorf("WKT has %q at byte %d where a value should stand", p.text[p.at], p.at+1)
	}
	p.skip()
	if p.at >= len(p.text) || p.text[p.at] != '[' && p.text[p.at] != '(' {
		return &node{value: word}, nil
	}
	closing := byte(']')
	if p.text[p.at] == '(' {
		closing = ')'
	}
	p.at++
	n := &node{keyword: strings.ToUpper(word)}
	for {
		p.skip()
		if p.at < len(p.text) && p.text[p.at] == closing && len(n.args) == 0 {
			p.at++
			return n, nil
		}
		arg, err := p.element(depth + 1)
		if err != nil {
			return nil, err
		}
		n.args = append(n.args, arg)
		p.skip()
		if p.at >= len(p.text) {
			return nil, fmt.Errorf("WKT ends inside %s[: its text was cut off", clip(n.keyword))
		}
		switch c := p.text[p.at]; c {
		case ',':
			p.at++
		case closing:
			p.at++
			return n, nil
		default:
			return nil, fmt.Errorf("WKT has %q at byte %d, inside %s[, where a comma or bracket should stand", c, p.at+1, clip(n.keyword))
		}
	}
}

// quoted reads a text; a quote in it is doubled.
func (p *wktReader) quoted() (*node, error) {
	var b strings.Builder
	for i := p.at + 1; i < len(p.text); i++ {
		if p.text[i] != '"' {
			b.WriteByte(p.text[i])
			continue
		}
		if i+1 < len(p.text) && p.text[i+1] == '"' {
			b.WriteByte('"')
			i++
			continue
		}
		p.at = i + 1
		return &node{value: b.String(), quoted: true}, nil
	}
	return nil, fmt.Errorf("WKT has a quote at byte %d that is never closed", p.at+1)
}

// is says whether the element has one of the keywords.
func (n *node) is(keywords ...string) bool { return n != nil && slices.Contains(keywords, n.keyword) }

// child is the first argument with one of the keywords; nil if there is none.
func (n *node) child(keywords ...string) *node {
	for _, a := range n.args {
		if a.is(keywords...) {
			return a
		}
	}
	return nil
}

// children are all arguments with the keyword.
func (n *node) children(keyword string) (out []*node) {
	for _, a := range n.args {
		if a.keyword == keyword {
			out = append(out, a)
		}
	}
	return out
}

// text is the i-th argument as a text or word; empty if there is none.
func (n *node) text(i int) string {
	if n == nil || i >= len(n.args) {
		return ""
	}
	return n.args[i].value
}

// number is the i-th argument as a finite number.
func (n *node) number(i int) (float64, error) {
	v, err := strconv.ParseFloat(n.text(i), 64)
	if err != nil || !finite(v) {
		return 0, fmt.Errorf("%s[%q] has %q where a number should stand", clip(n.keyword), clip(n.text(0)), clip(n.text(i)))
	}
	return v, nil
}

// epsgID is the EPSG code of an ID or AUTHORITY; 0 if there is none.
func (n *node) epsgID() int {
	for _, a := range n.args {
		if a.is("ID", "AUTHORITY") && strings.EqualFold(a.text(0), "EPSG") {
			return integer(a.text(1))
		}
	}
	return 0
}
