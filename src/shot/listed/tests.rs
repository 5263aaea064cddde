use super::*;

fn wrong(text: &str) -> String {
    Table::from_csv(text.as_bytes()).unwrap_err().to_string()
}

fn frames(text: &str) -> Result<usize, String> {
    let table = Table::from_csv(text.as_bytes()).map_err(|wrong| wrong.to_string())?;
    table.lines_of("wide", None).map(|lines| lines.len()).map_err(|wrong| wrong.to_string())
}

#[test]
fn a_line_of_every_form_is_read() {
    let table =
        Table::from_csv(b"\xef\xbb\xbfFrame, x, y, width, height, roll\r\n0,1,2,30.5,40,\r\n\r\n1,-1,2,30,40,-5\r\n");
    let table = table.unwrap();
    assert!(table.by_frame && table.len() == 2);
    assert_eq!(table.lines[1].line, 4);
    assert_eq!(table.lines[1].at, At::Frame(1, None));
    assert_eq!(table.lines[1].window, Written::Corner([-1.0, 2.0, 30.0, 40.0]));
    assert_eq!((table.lines[0].roll, table.lines[1].roll), (0.0, -5.0));
    let keys = "still,centre_x,centre_y,zoom,ease,hold\n1,10,20,1,,\n-1,10,20,2,ease-in-out,1.5\nA_7,1,2,3,linear,0\n";
    let keys = Table::from_csv(keys.as_bytes()).unwrap();
    assert!(!keys.by_frame);
    assert_eq!(keys.lines[1].at, At::Key(Moment::Still(-1)));
    assert_eq!(keys.lines[2].at, At::Key(Moment::StillNamed("A_7".into())));
    assert_eq!((keys.lines[1].hold, &keys.lines[1].ease), (1.5, &Ease::keyword("ease-in-out").unwrap()));
    let zoom = Width::Close(Closeness::Zoom(2.0));
    assert_eq!(keys.lines[1].window, Written::Centre { centre: (10.0, 20.0), width: zoom, height: None });
}

#[test]
fn what_cannot_be_a_table_is_named_with_its_line() {
    let head = "frame,x,y,width,height";
    for (text, said) in [
        ("", "line 1: it is empty"),
        ("\n\n", "line 1: it is empty"),
        ("frame,x,y,width,height\n", "line 1: it has column names, and no line after them"),
        ("0,1,2,3,4\n", "line 1: it has no line of column names"),
        ("frame;x;y;width;height\n0;1;2;3;4\n", "line 1: fields are separated by commas; seen semicolons"),
        ("frame,x,y,width,hight\n", "line 1: there is no column 'hight'"),
        ("frame,x,left,y,width,height\n", "line 1: column 'left' says again what another one says"),
        ("x,y,width,height\n", "line 1: no column says when: frame, seconds or still"),
        ("frame,width,height\n", "line 1: no column says where: x and y (or left and top), or centre_x and centre_y"),
        ("frame,x,y,width\n", "line 1: a window by its left top corner has all of x, y, width and height"),
        ("frame,centre_x,centre_y\n", "line 1: one column says how close: width, zoom or span"),
        (
            "frame,x,y,width,height,ease\n",
            "line 1: ease and hold belong to keys: a table of every frame has nothing between its lines",
        ),
    ] {
        assert_eq!(wrong(text), said, "{text:?}");
    }
    for (line, said) in [
        ("0,1,2,3", "this line has 4 fields, and the first line names 5 columns"),
        ("0,NaN,2,3,4", "x must be a number from -1000000 to 1000000; seen NaN"),
        ("0,1,inf,3,4", "y must be a number from -1000000 to 1000000; seen inf"),
        ("0,1,2,,4", "width must be a number from 0 to 1000000; seen nothing"),
        ("0,1,2,0,4", "width must be above 0; seen 0"),
        ("0,1,2,3,-4", "height must be a number from 0 to 1000000; seen -4"),
        ("0.5,1,2,3,4", "frame is a whole number, from 0; seen 0.5"),
        ("-1,1,2,3,4", "frame must be a number from 0 to 1000000000; seen -1"),
        ("one,1,2,3,4", "frame must be a number from 0 to 1000000000; seen 'one'"),
    ] {
        assert_eq!(wrong(&format!("{head}\n{line}\n")), format!("line 2: {said}"), "{line:?}");
    }
    assert_eq!(wrong("still,centre_x,centre_y,span\n0,1,1,1\n"), "line 2: stills are counted from 1; seen 0");
    assert_eq!(wrong("seconds,centre_x,centre_y,zoom,ease\n0,1,1,1,soft\n"), "line 2: there is no ease 'soft'");
    let latin = Table::from_csv(b"still,centre_x,centre_y,span\n\xe9,1,1,1\n").unwrap_err();
    assert_eq!(latin.to_string(), "line 2: this is no line of UTF-8 text");
}

#[test]
fn frames_come_one_after_the_other_from_0() {
    let table = |frames: &str| {
        let lines: Vec<String> = frames.split(' ').map(|frame| format!("{frame},1,2,16,9\n")).collect();
        format!("frame,x,y,width,height\n{}", lines.concat())
    };
    assert_eq!(frames(&table("0 1 2")), Ok(3));
    let refused = |list: &str| frames(&table(list)).unwrap_err();
    assert_eq!(refused("1 2 3"), "line 2: the first frame is 0; seen 1");
    assert_eq!(refused("0 1 3"), "line 4: frame 2 is missing before frame 3");
    assert_eq!(refused("0 1 5"), "line 4: frames 2 to 4 are missing before frame 5");
    assert_eq!(refused("0 1 1"), "line 4: frame 1 has a line already, line 3");
    assert_eq!(refused("0 1 2 1"), "line 5: frame 1 comes after frame 2");
}

#[test]
fn a_frame_of_several_shares_has_one_window_and_a_table_of_several_deliveries_is_chosen_from() {
    let shares =
        "delivery,frame,weight,x,y,width,height\nwide,0,0.5,1,2,16,9\nwide,0,0.5,1,2,16,9\nwide,1,1,1,2,16,9\n";
    assert_eq!(frames(shares), Ok(2));
    let unlike = shares.replacen("0.5,1,2,16,9\nwide,1", "0.5,1,3,16,9\nwide,1", 1);
    assert_eq!(frames(&unlike), Err("line 3: frame 0 has a line already, line 2".into()));
    let several = shares.to_owned() + "tall,0,1,1,2,9,16\n";
    let table = Table::from_csv(several.as_bytes()).unwrap();
    assert_eq!(table.lines_of("wide", None).unwrap().len(), 2);
    assert_eq!(table.lines_of("tall", None).unwrap().len(), 1);
    assert_eq!(table.lines_of("square", Some("tall")).unwrap().len(), 1);
    let refused = table.lines_of("square", None).unwrap_err();
    assert_eq!(refused.to_string(), "line 1: it has windows of 'tall', 'wide', and none of 'square'");
    assert_eq!(refused.help, ["of = \"tall\" beside table takes those of 'tall'"]);
    // One that names a single delivery is anybody's.
    assert_eq!(Table::from_csv(shares.as_bytes()).unwrap().lines_of("square", None).unwrap().len(), 2);
}
