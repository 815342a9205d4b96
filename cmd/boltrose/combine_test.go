package main

import "testing"

func TestCombineHelp(t *testing.T) { helpTellsAll(t, helpCombine, newCombineFlags(&combineCommand{})) }
