package chart

import "github.com/phasewright/phasewright/engine/trial/report"

// File is one form of a report.
type File struct {
	Name, Type string // as in Content-Type
	Content    []byte
}

// Files are all forms of the report of a trial, the one to begin with first.
func Files(in *report.Input) ([]File, error) {
	r, err := report.Make(in)
	if err != nil {
		return nil, err
	}
	plots, err := Trial(r)
	if err != nil {
		return nil, err
	}
	numbers, err := r.JSON()
	if err != nil {
		return nil, err
	}
	data, err := report.CSV(in)
	if err != nil {
		return nil, err
	}
	book, err := report.Codebook(in)
	if err != nil {
		return nil, err
	}
	out := []File{
		{"report.html", "text/html; charset=utf-8", []byte(r.HTML(plots))},
		{"report.md", "text/markdown; charset=utf-8", []byte(r.Markdown(plots))},
		{"report.json", "application/json", numbers},
		{"data.csv", "text/csv; charset=utf-8", data},
		{"codebook.csv", "text/csv; charset=utf-8", book},
	}
	for _, x := range plots {
		out = append(out, File{x.ID + ".svg", "image/svg+xml", []byte(x.SVG)})
	}
	return out, nil
}
