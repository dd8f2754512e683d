package publish

import (
	"bufio"
	"encoding/binary"
	"io"
	"math"
	"os"
)

// SQL inserts some 200,000 rows a second, so that a million readings would take
// longer than all else of a run. Rows that come in the order of their ids need
// none of what an insert does: bulk writes them straight into the pages of a
// table that SQLite has made, after the published file format
// (sqlite.org/fileformat2.html, sections 1.6 "B-tree Pages" and 2.1 "Record
// Format"; from memory). Everything else in the file is SQLite's own doing, and
// tests hold the outcome against its integrity check.

const (
	pageSize = 16384
	// lockOffset is where SQLite takes its locks: the page there holds nothing.
	lockOffset   = 1 << 30
	leafHead     = 8
	interiorHead = 12
	tableLeaf    = 0x0d
	tableNode    = 0x05
)

// value is one value of a row as SQLite stores it.
type value struct {
	kind  valueKind
	int   int64
	float float64
	text  string
	blob  []byte
}

type valueKind uint8

const (
	valueNull valueKind = iota
	valueInt
	valueFloat
	valueText
	valueBlob
)

// bulk appends the rows of tables to a SQLite file that nobody has open.
type bulk struct {
	file *os.File
	out  *bufio.Writer // appends at the end
	next uint32        // number of the next page
	lock uint32        // number of the page that must stay empty

	payload, types, body []byte // of the row being written
}

// openBulk opens a file whose pages are pageSize long.
func openBulk(path string) (*bulk, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		f.Close()
		return nil, err
	}
	return &bulk{file: f, out: bufio.NewWriterSize(f, 1<<20), next: uint32(size/pageSize) + 1, lock: lockOffset/pageSize + 1}, nil
}

// close tells the file's header how many pages there are now (offset 28).
func (b *bulk) close() error {
	err := b.out.Flush()
	if err == nil {
		_, err = b.file.WriteAt(binary.BigEndian.AppendUint32(nil, b.next-1), 28)
	}
	if e := b.file.Close(); err == nil {
		err = e
	}
	return err
}

// append writes a page at the end and returns its number.
func (b *bulk) append(page []byte) (uint32, error) {
	number := b.skip(b.next)
	if number > b.next {
		if _, err := b.out.Write(make([]byte, pageSize)); err != nil {
			return 0, err
		}
	}
	b.next = number + 1
	_, err := b.out.Write(page)
	return number, err
}

// skip is a page number, or the one behind it if that page must stay empty.
func (b *bulk) skip(number uint32) uint32 {
	if number == b.lock {
		number++
	}
	return number
}

// treePage is a page of a b-tree: pointers grow from the head, cells from the end.
type treePage struct {
	bytes []byte
	head  int
	cells int
	end   int // where the cells begin
}

func newPage(kind byte, head int) treePage {
	p := treePage{bytes: make([]byte, pageSize), head: head, end: pageSize}
	p.bytes[0] = kind
	p.note()
	return p
}

// note writes what the page's head says of its cells.
func (p *treePage) note() {
	binary.BigEndian.PutUint16(p.bytes[3:], uint16(p.cells))
	binary.BigEndian.PutUint16(p.bytes[5:], uint16(p.end))
}

// room says whether a cell and its pointer fit.
func (p *treePage) room(cell int) bool { return p.head+2*(p.cells+1)+cell <= p.end }

// reserve makes room for a cell and returns it.
func (p *treePage) reserve(cell int) []byte {
	p.end -= cell
	binary.BigEndian.PutUint16(p.bytes[p.head+2*p.cells:], uint16(p.end))
	p.cells++
	p.note()
	return p.bytes[p.end : p.end+cell]
}

// reset empties a page for the next use.
func (p *treePage) reset() {
	kind := p.bytes[0]
	clear(p.bytes)
	p.bytes[0], p.cells, p.end = kind, 0, pageSize
	p.note()
}

// child is a page of a table with the largest row id in it.
type child struct {
	page  uint32
	rowID int64
}

// tree is one table being filled.
type tree struct {
	bulk     *bulk
	root     uint32
	leaf     treePage
	rowID    int64 // of the last row
	children []child
}

// table starts to fill the empty table whose root is a page.
func (b *bulk) table(root uint32) *tree {
	return &tree{bulk: b, root: root, leaf: newPage(tableLeaf, leafHead)}
}

// insert adds a row. Row ids go up from row to row. The column that stands for
// the row id is null.
func (t *tree) insert(rowID int64, values []value) error {
	payload := t.bulk.record(values)
	local := localBytes(len(payload))
	var room [20]byte
	head := appendVarint(appendVarint(room[:0], uint64(len(payload))), uint64(rowID))
	size := len(head) + local
	if local < len(payload) {
		size += 4
	}
	if !t.leaf.room(size) {
		if err := t.flush(); err != nil {
			return err
		}
	}
	t.rowID = rowID
	cell := t.leaf.reserve(size)
	copy(cell, head)
	copy(cell[len(head):], payload[:local])
	if local == len(payload) {
		return nil
	}
	first, err := t.bulk.overflow(payload[local:])
	binary.BigEndian.PutUint32(cell[len(head)+local:], first)
	return err
}

// localBytes is how much of a payload stays on its leaf (file format, 1.6).
func localBytes(payload int) int {
	const most, least = pageSize - 35, (pageSize-12)*32/255 - 23
	if payload <= most {
		return payload
	}
	if k := least + (payload-least)%(pageSize-4); k <= most {
		return k
	}
	return least
}

// overflow writes what does not fit on a leaf as a chain of pages, the next one
// always the one behind, and returns the first.
func (b *bulk) overflow(rest []byte) (first uint32, err error) {
	p := make([]byte, pageSize)
	for len(rest) > 0 {
		clear(p)
		n := copy(p[4:], rest)
		rest = rest[n:]
		if len(rest) > 0 {
			binary.BigEndian.PutUint32(p, b.skip(b.skip(b.next)+1))
		}
		number, err := b.append(p)
		if err != nil {
			return 0, err
		}
		if first == 0 {
			first = number
		}
	}
	return first, nil
}

// flush puts a full leaf on the file.
func (t *tree) flush() error {
	number, err := t.bulk.append(t.leaf.bytes)
	if err != nil {
		return err
	}
	t.children = append(t.children, child{number, t.rowID})
	t.leaf.reset()
	return nil
}

// finish writes the levels above the leaves. The top one goes where SQLite
// expects the table's root; a table of one leaf has it there.
func (t *tree) finish() error {
	if len(t.children) == 0 {
		return t.writeRoot(t.leaf.bytes)
	}
	if err := t.flush(); err != nil {
		return err
	}
	for {
		level := nodes(t.children)
		if len(level) == 1 {
			return t.writeRoot(level[0].bytes)
		}
		t.children = t.children[:0]
		for i := range level {
			number, err := t.bulk.append(level[i].bytes)
			if err != nil {
				return err
			}
			t.children = append(t.children, child{number, level[i].last})
		}
	}
}

func (t *tree) writeRoot(page []byte) error {
	_, err := t.bulk.file.WriteAt(page, int64(t.root-1)*pageSize)
	return err
}

// node is an interior page with the largest row id below it.
type node struct {
	treePage
	last int64
}

// nodes are the interior pages above two or more children, each with about as
// many. The last child of a node is its right pointer, the others its cells.
func nodes(children []child) []node {
	const most = (pageSize-interiorHead)/(2+4+9) + 1 // a pointer, a page number and the longest key each
	count := (len(children) + most - 1) / most
	out := make([]node, count)
	for k := range out {
		n := node{treePage: newPage(tableNode, interiorHead)}
		mine := children[k*len(children)/count : (k+1)*len(children)/count]
		last := mine[len(mine)-1]
		for _, c := range mine[:len(mine)-1] {
			var room [13]byte
			cell := appendVarint(binary.BigEndian.AppendUint32(room[:0], c.page), uint64(c.rowID))
			copy(n.reserve(len(cell)), cell)
		}
		binary.BigEndian.PutUint32(n.bytes[8:], last.page)
		n.last = last.rowID
		out[k] = n
	}
	return out
}

// record is a row in SQLite's record format: the type of every value, then the
// values.
func (b *bulk) record(values []value) []byte {
	types, body := b.types[:0], b.body[:0]
	for i := range values {
		switch v := &values[i]; v.kind {
		case valueNull:
			types = append(types, 0)
		case valueInt:
			types, body = appendInt(types, body, v.int)
		case valueFloat:
			types = append(types, 7)
			body = binary.BigEndian.AppendUint64(body, math.Float64bits(v.float))
		case valueText:
			types = appendVarint(types, 13+2*uint64(len(v.text)))
			body = append(body, v.text...)
		case valueBlob:
			types = appendVarint(types, 12+2*uint64(len(v.blob)))
			body = append(body, v.blob...)
		}
	}
	size := len(types) + 1 // the header counts its own length
	if size > 0x7f {
		size++
	}
	b.types, b.body = types, body
	b.payload = append(append(appendVarint(b.payload[:0], uint64(size)), types...), body...)
	return b.payload
}

// appendInt writes an integer in as few bytes as hold it.
func appendInt(types, body []byte, v int64) (t, b []byte) {
	if v == 0 || v == 1 {
		return append(types, 8+byte(v)), body
	}
	for code, bits := range [...]int{1: 8, 2: 16, 3: 24, 4: 32, 5: 48, 6: 64} {
		if bits == 0 || bits < 64 && (v < -1<<(bits-1) || v >= 1<<(bits-1)) {
			continue
		}
		for shift := bits - 8; shift >= 0; shift -= 8 {
			body = append(body, byte(v>>shift))
		}
		return append(types, byte(code)), body
	}
	return types, body
}

// appendVarint writes a number in groups of seven bits, the high ones first. It
// holds 56 bits, more than any length or row id here.
func appendVarint(b []byte, v uint64) []byte {
	shift := 0
	for v>>shift > 0x7f {
		shift += 7
	}
	for ; shift > 0; shift -= 7 {
		b = append(b, byte(v>>shift)|0x80)
	}
	return append(b, byte(v)&0x7f)
}
