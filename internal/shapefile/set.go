package shapefile

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// place is where a set lies: a folder or an archive as a file system, and how
// messages call its files.
type place struct {
	fsys   fs.FS
	root   string // before the names of fsys
	sep    string
	zip    string    // the archive; "" none
	closer io.Closer // nil if nothing needs to be closed
}

func (p *place) shown(name string) string { return p.root + p.sep + name }

// Close closes the archive.
func (p *place) Close() error {
	if p.closer == nil {
		return nil
	}
	return p.closer.Close()
}

// locate finds where a path leads: to a .shp in a folder, to one inside an
// archive ("a.zip/mains.shp") or to the only one of an archive ("a.zip").
func locate(name string) (*place, string, error) {
	if archive, inside, ok := splitArchive(name); ok {
		p, err := openArchive(archive)
		if err != nil {
			return nil, "", err
		}
		if inside == "" {
			if inside, err = onlyLayer(p); err != nil {
				p.Close()
				return nil, "", err
			}
		}
		return p, inside, nil
	}
	dir, base := filepath.Split(name)
	if !isShp(base) {
		return nil, "", &Error{File: name, Problem: "is neither a .shp file nor a .zip archive", Remedy: "name a .shp file"}
	}
	root := strings.TrimRightFunc(dir, func(r rune) bool { return r == '/' || r == filepath.Separator })
	p := &place{fsys: os.DirFS("."), root: root, sep: dir[len(root):]}
	if dir != "" {
		p.fsys = os.DirFS(filepath.Clean(dir))
	}
	return p, base, nil
}

func isShp(name string) bool { return strings.EqualFold(path.Ext(name), ".shp") }
func isZip(name string) bool { return strings.EqualFold(filepath.Ext(name), ".zip") }

// splitArchive splits a path behind an element that is a .zip file.
func splitArchive(name string) (archive, inside string, ok bool) {
	slashed := filepath.ToSlash(name)
	for at := 0; at < len(slashed); {
		end := len(slashed)
		if i := strings.IndexByte(slashed[at:], '/'); i >= 0 {
			end = at + i
		}
		if isZip(slashed[at:end]) {
			if info, err := os.Stat(name[:end]); err == nil && info.Mode().IsRegular() {
				return name[:end], strings.Trim(slashed[end:], "/"), true
			}
		}
		at = end + 1
	}
	return "", "", false
}

func openArchive(name string) (*place, error) {
	z, err := zip.OpenReader(name)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
		return nil, &Error{File: name, Problem: "cannot be read", Err: cause(err), Remedy: remedyOpen}
	}
	if err != nil {
		return nil, &Error{File: name, Problem: "is not a sound .zip archive", Err: cause(err), Remedy: remedyCopy}
	}
	if len(z.File) > maxEntries {
		z.Close()
		return nil, &Error{File: name, Problem: fmt.Sprintf("has %d entries, more than %d", len(z.File), maxEntries), Remedy: "unpack the archive and give the folder instead"}
	}
	for _, f := range z.File {
		f.Name = strings.ReplaceAll(f.Name, `\`, "/") // as some programs write it
	}
	return &place{fsys: &z.Reader, root: name, sep: "/", zip: name, closer: z}, nil
}

// siblings are the files of a set, by lower-case extension with its dot.
type siblings map[string]string

// extensions are the files of a set that are read.
var extensions = []string{".shp", ".shx", ".dbf", ".prj", ".cpg"}

// find finds the files of the set of a .shp, whatever their case. Where several
// could be meant, the one spelled most like the .shp is; two that are equally
// like it are an error.
func (p *place) find(name string) (siblings, error) {
	dir, base := path.Split(name)
	stem := base[:len(base)-len(path.Ext(base))]
	list, err := fs.ReadDir(p.fsys, path.Clean("./"+dir))
	if err != nil {
		return nil, &Error{File: p.shown(name), Problem: "its folder cannot be read", Err: cause(err), Remedy: remedyOpen}
	}
	found, tied, best := siblings{}, siblings{}, map[string]int{}
	for _, entry := range list {
		other := entry.Name()
		ext := path.Ext(other)
		if entry.IsDir() || !strings.EqualFold(other[:len(other)-len(ext)], stem) {
			continue
		}
		key := strings.ToLower(ext)
		switch score := likeness(other, base, stem); {
		case score > best[key]:
			found[key], tied[key], best[key] = dir+other, "", score
		case score == best[key]:
			tied[key] = other
		}
	}
	for _, ext := range extensions {
		if tied[ext] != "" {
			return nil, &Error{File: p.shown(name), Problem: fmt.Sprintf("both %s and %s could belong to it", path.Base(found[ext]), tied[ext]), Remedy: "remove or rename one of them"}
		}
	}
	return found, p.complete(name, found)
}

// likeness is how much a file name is spelled like that of the .shp.
func likeness(other, base, stem string) int {
	score := 1
	if strings.HasPrefix(other, stem+".") {
		score = 3
		if other == base {
			score = 5
		}
	}
	shpLower, otherLower := strings.ToLower(path.Ext(base)) == path.Ext(base), strings.ToLower(path.Ext(other)) == path.Ext(other)
	if shpLower == otherLower {
		score++
	}
	return score
}

// complete checks that a set has what it needs.
func (p *place) complete(name string, found siblings) error {
	if found[".shp"] == "" {
		return &Error{File: p.shown(name), Problem: "there is no such file", Remedy: remedyOpen}
	}
	if found[".dbf"] == "" {
		return &Error{File: p.shown(name), Problem: "there is no .dbf file beside it, which holds the attributes", Remedy: "copy the .dbf (and .shx, .prj, .cpg) of the same name to the same folder"}
	}
	return nil
}

// text reads a small file of the set; "" if it is not there.
func (p *place) text(name string, limit int64) (string, error) {
	if name == "" {
		return "", nil
	}
	s, err := openStream(p.fsys, name, p.shown(name))
	if err != nil {
		return "", err
	}
	defer s.c.Close()
	if s.size > limit {
		return "", &Error{File: s.name, Problem: fmt.Sprintf("has %d bytes; such a file is a line of text, at most %d", s.size, limit), Remedy: remedyCopy}
	}
	b, err := s.append(nil, s.size)
	if err == nil {
		err = s.end()
	}
	return strings.TrimSpace(strings.TrimPrefix(strings.TrimRight(string(b), "\x00\x1a"), "\ufeff")), err
}
