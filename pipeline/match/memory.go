package match

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
)

// memory is what came of votes on sheets, by sheet. Sheets are voted on again and
// again, mostly with the very ballots of some time before: a session's error is
// tried and taken back, a neighbour is where it was. It holds digests in place of
// ballots, which would fill gigabytes.
type memory [][]remembered

type remembered struct {
	ballots [sha256.Size]byte
	verdict verdict
}

// verdict is what came of a sheet's ballots, or what comes of them now.
func (m memory) verdict(sheet int32, b *ballots, vote func() verdict) verdict {
	digest := b.digest()
	for i := range m[sheet] {
		if r := &m[sheet][i]; r.ballots == digest {
			return r.verdict
		}
	}
	v := vote()
	m[sheet] = append(m[sheet], remembered{digest, v})
	return v
}

// digest is a digest of all that is cast.
func (b *ballots) digest() [sha256.Size]byte {
	d := b.bytes[:0]
	number := binary.LittleEndian.AppendUint64
	for i := range b.list {
		x := &b.list[i]
		d = number(d, uint64(uint32(x.trace))<<32|uint64(uint32(x.to-x.from)))
		d = number(number(d, math.Float64bits(x.weight)), math.Float64bits(x.base))
		for j := x.from; j < x.to; j++ {
			v := &b.views[j]
			d = number(d, uint64(uint32(v.rec)))
			d = number(number(number(d, math.Float64bits(v.offset)), math.Float64bits(v.east)), math.Float64bits(v.north))
		}
	}
	b.bytes = d
	return sha256.Sum256(d)
}
