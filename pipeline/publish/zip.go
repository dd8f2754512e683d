package publish

import (
	"archive/zip"
	"bytes"
	"cmp"
	"compress/flate"
	"errors"
	"hash"
	"hash/crc32"
	"io"
	"io/fs"
	"slices"
)

// sortedZip is a ZIP archive whose entries come out in the order of their
// names, whatever the order in which they went in: a workbook hands its sheets
// in in the order of a map.
type sortedZip struct {
	out     *zip.Writer
	entries []*zipEntry
}

// zipEntry is one entry, compressed as it comes in.
type zipEntry struct {
	name   string
	packed bytes.Buffer
	pack   *flate.Writer
	crc    hash.Hash32
	size   uint64
}

// Create starts an entry. Every entry stays writable until Close.
func (z *sortedZip) Create(name string) (io.Writer, error) {
	e := &zipEntry{name: name, crc: crc32.NewIEEE()}
	var err error
	if e.pack, err = flate.NewWriter(&e.packed, flate.BestSpeed); err != nil {
		return nil, err
	}
	z.entries = append(z.entries, e)
	return e, nil
}

func (e *zipEntry) Write(p []byte) (int, error) {
	e.crc.Write(p) // a hash never fails
	e.size += uint64(len(p))
	return e.pack.Write(p)
}

// AddFS is there for the interface: a workbook adds no file system.
func (z *sortedZip) AddFS(fs.FS) error { return errors.ErrUnsupported }

// Close writes the entries and the archive's directory.
func (z *sortedZip) Close() error {
	slices.SortFunc(z.entries, func(a, b *zipEntry) int { return cmp.Compare(a.name, b.name) })
	for _, e := range z.entries {
		if err := e.pack.Close(); err != nil {
			return err
		}
		w, err := z.out.CreateRaw(&zip.FileHeader{
			Name: e.name, Method: zip.Deflate, CRC32: e.crc.Sum32(),
			CompressedSize64: uint64(e.packed.Len()), UncompressedSize64: e.size,
		})
		if err != nil {
			return err
		}
		if _, err := e.packed.WriteTo(w); err != nil {
			return err
		}
	}
	return z.out.Close()
}
