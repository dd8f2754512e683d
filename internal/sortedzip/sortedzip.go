// Package sortedzip writes workbooks that are the same every time.
package sortedzip

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

// Writer is a ZIP archive whose entries come out in the order of their
// names, whatever the order in which they went in: a workbook hands its sheets
// in in the order of a map.
type Writer struct {
	out     *zip.Writer
	entries []*entry
}

// New writes an archive to w.
func New(w io.Writer) *Writer { return &Writer{out: zip.NewWriter(w)} }

// entry is one entry, compressed as it comes in.
type entry struct {
	name   string
	packed bytes.Buffer
	pack   *flate.Writer
	crc    hash.Hash32
	size   uint64
}

// Create starts an entry. Every entry stays writable until Close.
func (z *Writer) Create(name string) (io.Writer, error) {
	e := &entry{name: name, crc: crc32.NewIEEE()}
	var err error
	if e.pack, err = flate.NewWriter(&e.packed, flate.BestSpeed); err != nil {
		return nil, err
	}
	z.entries = append(z.entries, e)
	return e, nil
}

func (e *entry) Write(p []byte) (int, error) {
	e.crc.Write(p) // a hash never fails
	e.size += uint64(len(p))
	return e.pack.Write(p)
}

// AddFS is there for the interface: a workbook adds no file system.
func (z *Writer) AddFS(fs.FS) error { return errors.ErrUnsupported }

// Close writes the entries and the archive's directory.
func (z *Writer) Close() error {
	slices.SortFunc(z.entries, func(a, b *entry) int { return cmp.Compare(a.name, b.name) })
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
