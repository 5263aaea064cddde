-- A comma left out is looked for at the end of the line above.
return shot {
  pace = stills_per_frame(1)
  source = stills { "a" }, --! '}' expected (to close '{' at line 2) near 'source' --? entries are separated by commas
}
