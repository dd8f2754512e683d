package shapefile

import (
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// Entry is a layer of a folder or an archive.
type Entry struct {
	Name string // file name without extension
	Path string // what Read and Open take
}

// Layers lists the layers of a .zip archive (in all its folders), of a folder
// (without those below it), or the one layer of a .shp file, by path.
func Layers(name string) ([]Entry, error) {
	if isZip(name) {
		p, err := openArchive(name)
		if err != nil {
			return nil, err
		}
		defer p.Close()
		return p.layers()
	}
	info, err := os.Stat(name)
	if err != nil {
		return nil, &Error{File: name, Problem: "cannot be read", Err: cause(err), Remedy: remedyOpen}
	}
	if info.IsDir() {
		list, err := os.ReadDir(name)
		if err != nil {
			return nil, &Error{File: name, Problem: "cannot be read", Err: cause(err), Remedy: remedyOpen}
		}
		var layers []Entry
		for _, e := range list {
			if isShp(e.Name()) && !hidden(e.Name()) && !e.IsDir() {
				layers = append(layers, Entry{stem(e.Name()), filepath.Join(name, e.Name())})
			}
		}
		return layers, nil
	}
	if !isShp(name) {
		return nil, &Error{File: name, Problem: "is neither a folder, a .zip archive nor a .shp file", Remedy: "name one of these"}
	}
	return []Entry{{stem(filepath.Base(name)), name}}, nil
}

func stem(base string) string { return strings.TrimSuffix(base, path.Ext(base)) }

// hidden says whether a file is one that systems leave beside the true ones.
func hidden(name string) bool {
	return strings.HasPrefix(name, ".") || strings.HasPrefix(name, "__MACOSX")
}

// layers lists the layers of an archive. The names are those of its file
// system, which knows no way out of it.
func (p *place) layers() ([]Entry, error) {
	var layers []Entry
	err := fs.WalkDir(p.fsys, ".", func(name string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return &Error{File: p.shown(name), Problem: "cannot be listed", Err: cause(err), Remedy: remedyCopy}
		case name != "." && hidden(e.Name()):
			if e.IsDir() {
				return fs.SkipDir
			}
		case isShp(name) && !e.IsDir():
			layers = append(layers, Entry{stem(e.Name()), p.shown(name)})
		}
		return nil
	})
	return layers, err
}

// onlyLayer is the name of the layer of an archive that has just one.
func onlyLayer(p *place) (string, error) {
	layers, err := p.layers()
	if err != nil {
		return "", err
	}
	switch len(layers) {
	case 0:
		return "", &Error{File: p.zip, Problem: "holds no .shp file", Remedy: "give an archive with .shp, .shx, .dbf and .prj in it"}
	case 1:
		return strings.TrimPrefix(layers[0].Path, p.root+p.sep), nil
	}
	names := make([]string, len(layers))
	for i, l := range layers {
		names[i] = l.Path
	}
	return "", &Error{File: p.zip, Problem: fmt.Sprintf("holds %d layers", len(layers)), Remedy: "name one of them: " + strings.Join(names, ", ")}
}
