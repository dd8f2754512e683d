package rank

import (
	"cmp"
	"container/heap"
	"math/rand/v2"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
)

// pick is one stretch of a package, in order.
type pick struct {
	stretch int32
	gain    float64
	ownGain float64 // the part of it that lies in the stretch itself
	control bool
}

// pick is one stretch with what it is expected to resolve now.
func (p *picker) pick(i int32, sheets func(int) *learned) pick {
	own, others := p.gain(&p.all[i], sheets)
	return pick{stretch: i, gain: own + others, ownGain: own}
}

// area is the stretches that one crew reaches in a day and that are left, with the
// package that is best there.
type area struct {
	left  []int32
	best  []pick
	value float64       // per money
	seen  map[int]int32 // versions of the sheets that best rests on
}

// candidate is a stretch in the queue of an area.
type candidate struct {
	pick
	value   float64 // per money
	version int32   // of its sheet
}

type queue []candidate

func (q queue) Len() int { return len(q) }
func (q queue) Less(a, b int) bool {
	return cmp.Or(cmp.Compare(q[b].value, q[a].value), cmp.Compare(q[a].stretch, q[b].stretch)) < 0
}
func (q queue) Swap(a, b int) { q[a], q[b] = q[b], q[a] }
func (q *queue) Push(x any)   { *q = append(*q, x.(candidate)) }
func (q *queue) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// plan fills a day in an area with what gives most for the money, one after the
// other. What a sheet tells changes with every pick of it, so that a gain is taken only
// if it is of now; the others stay as they are until they come to the front (Minoux
// 1978).
func (p *picker) plan(a *area, dayM float64) {
	t := trial{p, map[int]*learned{}}
	a.seen = map[int]int32{}
	q := make(queue, 0, len(a.left))
	for _, i := range a.left {
		if s := p.all[i].sheet; s >= 0 {
			a.seen[s] = p.sheets[s].version
		}
		q = append(q, t.rate(i))
	}
	heap.Init(&q)
	a.best, a.value = nil, 0
	gain, spent := 0.0, p.o.Mobilisation
	for len(q) > 0 {
		x := q[0]
		c := &p.all[x.stretch]
		if dayM > 0 && c.lengthM() > dayM {
			heap.Pop(&q)
			continue
		}
		if c.sheet >= 0 && t.sheet(c.sheet).version != x.version {
			q[0] = t.rate(x.stretch)
			heap.Fix(&q, 0)
			continue
		}
		heap.Pop(&q)
		t.take(c)
		a.best = append(a.best, x.pick)
		gain, spent = gain+x.gain, spent+p.cost(c)
		a.value = max(a.value, perMoney(gain, spent))
		if dayM -= c.lengthM(); p.o.PackageM > 0 && dayM < minStretchM {
			break
		}
	}
}

// trial has the sheets as they are after what is planned so far.
type trial struct {
	*picker
	tried map[int]*learned // those that differ
}

func (t *trial) sheet(i int) *learned {
	if l, ok := t.tried[i]; ok {
		return l
	}
	return &t.sheets[i]
}

// rate is a stretch with what it is worth now.
func (t *trial) rate(i int32) candidate {
	c := &t.all[i]
	x := candidate{pick: t.pick(i, t.sheet)}
	x.value = perMoney(x.gain, t.cost(c))
	if c.sheet >= 0 {
		x.version = t.sheet(c.sheet).version
	}
	return x
}

// take has a stretch surveyed on trial.
func (t *trial) take(c *stretch) {
	if c.sheet < 0 {
		return
	}
	l, ok := t.tried[c.sheet]
	if !ok {
		copied := t.sheets[c.sheet]
		l = &copied
		t.tried[c.sheet] = l
	}
	t.picker.take(c, l)
}

// perMoney is a gain for the money; what costs nothing is worth a great deal.
func perMoney(gain, cost float64) float64 { return gain / max(cost, 1e-9) }

// fresh says whether nothing was picked since that the area's plan rests on.
func (p *picker) fresh(a *area) bool {
	for i, v := range a.seen {
		if p.sheets[i].version != v {
			return false
		}
	}
	return true
}

// areaQueue holds the areas with the best package first; ties go by the first
// stretch.
type areaQueue []*area

func (q areaQueue) Len() int { return len(q) }
func (q areaQueue) Less(a, b int) bool {
	return cmp.Or(cmp.Compare(q[b].value, q[a].value), cmp.Compare(q[a].left[0], q[b].left[0])) < 0
}
func (q areaQueue) Swap(a, b int) { q[a], q[b] = q[b], q[a] }
func (q *areaQueue) Push(x any)   { *q = append(*q, x.(*area)) }
func (q *areaQueue) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// packages picks everything, package by package.
func (p *picker) packages(parts [][]int32) [][]pick {
	all := make([]*area, len(parts))
	for i := range all {
		all[i] = &area{left: parts[i]}
	}
	parallel.Each(len(all), 0, func() func(int) { return func(i int) { p.plan(all[i], p.o.PackageM) } })
	q := areaQueue(all)
	heap.Init(&q)
	var out [][]pick
	for q.Len() > 0 {
		a := p.front(&q)
		heap.Pop(&q)
		other := 0.0
		if q.Len() > 0 {
			other = p.front(&q).value
		}
		picks := p.commit(a, other, uint64(len(out)))
		out = append(out, picks)
		if len(a.left) > 0 {
			p.plan(a, p.o.PackageM)
			heap.Push(&q, a)
		}
	}
	return out
}

// front is the best area as things are now.
func (p *picker) front(q *areaQueue) *area {
	for {
		a := (*q)[0]
		if p.fresh(a) {
			return a
		}
		p.plan(a, p.o.PackageM)
		heap.Fix(q, 0)
	}
}

// commit takes an area's best package, as far as its next stretch gives more for the
// money than setting out for another area.
func (p *picker) commit(a *area, other float64, number uint64) []pick {
	var out []pick
	taken := map[int32]bool{}
	take := func(x pick) {
		c := &p.all[x.stretch]
		if c.sheet >= 0 {
			p.take(c, &p.sheets[c.sheet])
		}
		taken[x.stretch] = true
		out = append(out, x)
	}
	if p.o.ControlShare > 0 {
		left := p.o.PackageM
		for _, x := range p.controls(a, number) {
			take(x)
			left -= p.all[x.stretch].lengthM()
		}
		a.drop(taken)
		a.best = nil
		if left >= minStretchM {
			p.plan(a, left)
		}
	}
	gain, spent := 0.0, p.o.Mobilisation
	for _, x := range a.best {
		c := &p.all[x.stretch]
		if value := perMoney(x.gain, p.cost(c)); len(out) > 0 && value < other && perMoney(gain, spent) > value {
			break
		}
		gain, spent = gain+x.gain, spent+p.cost(c)
		take(x)
	}
	a.drop(taken)
	return out
}

// controls draws what of a package is a control sample: stretches at random from what
// is left of the area, one after the other, each as likely as it is long, and none
// twice.
func (p *picker) controls(a *area, number uint64) []pick {
	rng := rand.New(rand.NewPCG(uint64(p.o.Seed), number))
	left := slices.Clone(a.left)
	total := 0.0
	for _, i := range left {
		total += p.all[i].lengthM()
	}
	var out []pick
	for want := min(p.o.PackageM, total) * p.o.ControlShare; want > 0 && len(left) > 0; {
		at := rng.Float64() * total
		k := 0
		for ; k+1 < len(left) && at >= p.all[left[k]].lengthM(); k++ {
			at -= p.all[left[k]].lengthM()
		}
		c := &p.all[left[k]]
		x := p.pick(left[k], func(i int) *learned { return &p.sheets[i] })
		x.control = true
		out = append(out, x)
		want -= c.lengthM()
		total -= c.lengthM()
		left = slices.Delete(left, k, k+1)
	}
	return out
}

// drop takes stretches off what is left.
func (a *area) drop(taken map[int32]bool) {
	a.left = slices.DeleteFunc(a.left, func(i int32) bool { return taken[i] })
}
