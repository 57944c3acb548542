// Package assets holds the files that the binary carries.
package assets

import (
	"embed"
	"fmt"
	"io/fs"
)

// The pattern takes the hidden file too, which keeps the folder in place before anything was fetched into it.
//
//go:embed all:files
var files embed.FS

// Faces is the font files of the house typeface, Source Sans 3, as TrueType.
type Faces struct{ Regular, Semibold, Bold, Italic []byte }

// Fonts returns the fonts. It is an error where the binary was built before the fonts were fetched.
func Fonts() (Faces, error) { return fonts(files) }

func fonts(fsys fs.FS) (Faces, error) {
	var f Faces
	for _, face := range []struct {
		name string
		into *[]byte
	}{
		{"Regular", &f.Regular},
		{"Semibold", &f.Semibold},
		{"Bold", &f.Bold},
		{"It", &f.Italic},
	} {
		name := "SourceSans3-" + face.name + ".ttf"
		b, err := fs.ReadFile(fsys, "files/"+name)
		if err != nil {
			return Faces{}, fmt.Errorf("this binary was built without its fonts (%s is missing): run `make assets`, then build again", name)
		}
		*face.into = b
	}
	return f, nil
}

// License returns the licence that the fonts come under; it goes where the fonts go.
func License() (string, error) {
	const name = "SourceSans3-LICENSE.md"
	b, err := files.ReadFile("files/" + name)
	if err != nil {
		return "", fmt.Errorf("this binary was built without its fonts (%s is missing): run `make assets`, then build again", name)
	}
	return string(b), nil
}
