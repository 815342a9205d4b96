package draw

import (
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// NewPDF begins a document of pages wide × high mm, without margins and
// without a date, which would make each copy differ. The function returned
// turns text into what the document's own fonts can show.
func NewPDF(title string, wide, high float64) (*fpdf.Fpdf, func(string) string) {
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: wide, Ht: high}})
	pdf.SetTitle(title, true)
	pdf.SetCreator("boltrose", true)
	pdf.SetLang("en")
	pdf.SetCatalogSort(true)
	undated := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	pdf.SetCreationDate(undated)
	pdf.SetModificationDate(undated)
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	return pdf, pdf.UnicodeTranslatorFromDescriptor("")
}
