//! Tables as people and spreadsheets write them.

use intake::csv::{Limits, Table};
use proptest::prelude::*;

const LIMITS: Limits = Limits { rows: 1000, columns: 20, marks: &["station"] };

/// The table with its cells divided by bars, a row a line with its line number, or its problems.
fn read(text: &[u8]) -> String {
    match Table::read("a.csv", text, &LIMITS) {
        Err(problems) => problems.to_string(),
        Ok(table) => {
            let mut lines = vec![table.header().join("|")];
            for row in table.rows() {
                let cells: Vec<&str> = (0..table.header().len()).map(|i| row.cell(i)).collect();
                lines.push(format!("{}: {}", row.line(), cells.join("|")));
            }
            lines.join("\n")
        }
    }
}

fn check(text: &str, expected: &[&str]) {
    assert_eq!(read(text.as_bytes()), expected.join("\n"), "for {text:?}");
}

#[test]
fn commas_semicolons_and_tabs_divide_columns() {
    check("name,x,y\nA,1,2\n", &["name|x|y", "2: A|1|2"]);
    check("name;x;y\nA;1,5;2,5\n", &["name|x|y", "2: A|1,5|2,5"]);
    check("name\tx\ty\nA\t1,5\t\n", &["name|x|y", "2: A|1,5|"]);
    check("name,x\nA,\"1,5\"\n", &["name|x", "2: A|1,5"]);
    check("sep=;\r\nname;x\r\nA;1\r\n", &["name|x", "3: A|1"]);
}

#[test]
fn any_line_end_counts_as_one_line() {
    for end in ["\n", "\r\n", "\r"] {
        check(&["name,x", "", "A,1", "# done", "B,2"].join(end), &["name|x", "3: A|1", "5: B|2"]);
    }
    check("name,x\r\nA,1\nB,2\rC,3", &["name|x", "2: A|1", "3: B|2", "4: C|3"]);
}

#[test]
fn comments_blank_lines_and_empty_spreadsheet_cells_are_no_rows() {
    check("# unit: mm\n\nname, x , y,,\n A , 1 ,2,,\n,,,,\n", &["name|x|y", "4: A|1|2"]);
    let table = Table::read("a.csv", b"# unit: mm\nname,x\n#two\nA,1\n", &LIMITS).unwrap();
    assert_eq!(table.comments().collect::<Vec<_>>(), [(1, "unit: mm"), (3, "two")]);
}

#[test]
fn quotes_hold_delimiters_line_ends_and_quotes() {
    check("name,x\n\"A, left\",1\n\"B\nbelow\",2\n\"3 5/16\"\"\",3\n", &["name|x", "2: A, left|1", "3: B\nbelow|2", "5: 3 5/16\"|3"]);
    check("name,x\n3 5/16\",1\n", &["name|x", "2: 3 5/16\"|1"]);
}

#[test]
fn a_ragged_row_is_named_with_what_is_needed() {
    check(
        "name,x,y,height\nA,1,2,3\n1,2,3\nB,1,5,2,5,3,5\n",
        &[
            "a.csv:3: \"1,2,3\" has three parts; four are needed: name, x, y, height",
            "a.csv:4: \"B,1,5,2,5,3,5\" has seven parts; four are needed: name, x, y, height; with decimal commas the columns are divided by semicolons",
        ],
    );
    check("name,x,y\nStation 2\nA,1,2\n", &["name|x|y", "2: Station 2||", "3: A|1|2"]);
}

#[test]
fn what_is_no_table_is_said_plainly() {
    check("", &["a.csv: the file is empty; a heading with the names of the columns, then a row for each reading"]);
    check("\n\n# only a remark\n", &["a.csv: the file is empty; a heading with the names of the columns, then a row for each reading"]);
    check("name,x\n", &["a.csv:1: a heading but no rows; a row for each reading below the heading"]);
    check("name,x\nA\0,1\n", &["a.csv:2: a NUL byte: this is no text file; a table saved as CSV in UTF-8"]);
    check(
        "1,2,3\n4,5,6\n",
        &["a.csv:1: 1,2,3: the first row holds numbers only; a heading with the names of the columns above the readings"],
    );
    check(
        "x,,X\n1,2,3\n",
        &["a.csv:1: column 2 has no name; a name for every column", "a.csv:1: X: columns 1 and 3 have the same name; each name once"],
    );
    check("name,x\nA,1\n\"B,2\nC,3\n", &["a.csv:3: a quote is opened here and never closed; a closing quote, or none at all"]);
    check(
        "name,x\n\"A\"b,1\n",
        &["a.csv:2: \"A\"b,1: text stands behind a closing quote; quotes around the whole part; a quote inside it doubled"],
    );
    let wide = vec!["a"; 30].join(",");
    assert!(read(wide.as_bytes()).contains("the heading has 30 columns; at most 20"));
}

#[test]
fn utf_16_from_a_spreadsheet_is_read() {
    let text: Vec<u8> = "\u{feff}name\tx\r\nA\t1,5\r\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(read(&text), "name|x\n2: A|1,5");
}

#[test]
fn too_many_rows_are_refused_and_a_flood_of_problems_is_counted() {
    let rows = "A,1\n".repeat(1001);
    assert_eq!(read(format!("name,x\n{rows}").as_bytes()), "a.csv: about 1001 rows: more than 1000 rows; fewer readings, or several files");
    let found = Table::read("a.csv", format!("name,x\n{}", "A\n".repeat(5000)).as_bytes(), &LIMITS).unwrap_err();
    assert_eq!(found.problems.len(), 201);
    assert_eq!(found.problems[200].what, "4800 more problems are not listed");
}

#[test]
fn columns_are_found_whatever_the_case() {
    let table = Table::read("a.csv", b"Point_Name;Height (mm)\nA;1\n", &LIMITS).unwrap();
    assert_eq!(table.column(&["name", "point name"]), Some(0));
    assert_eq!(table.column(&["x"]), None);
}

/// Ten million lines: prints the time and the most memory used; run with `--release --ignored --nocapture`.
#[test]
#[ignore = "a measurement"]
fn ten_million_lines() {
    for (what, row) in [("good rows", "A1,1234,567,12.5\n"), ("ragged rows", "A1,1234,567\n")] {
        let mut text = String::with_capacity(200_000_000);
        text.push_str("name,x,y,height\n");
        (0..10_000_000).for_each(|_| text.push_str(row));
        let before = peak_kb();
        let start = std::time::Instant::now();
        let problems = Table::read("scan.csv", text.as_bytes(), &Limits { rows: 200_000, ..LIMITS }).unwrap_err();
        println!(
            "{what}: {} MB in {:?}, {} kB more than the text; {}",
            text.len() >> 20,
            start.elapsed(),
            peak_kb() - before,
            problems.problems.last().map_or(String::new(), ToString::to_string)
        );
    }
}

/// Most memory this process has used, from the system's own account of it.
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok()).unwrap_or(0)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(prop_oneof![any::<u8>(), prop::sample::select(&b"\"\",;\t\r\n# 12station"[..])], 0..120)) {
        if let Ok(table) = Table::read("x", &bytes, &LIMITS) {
            for row in table.rows() {
                let _: usize = (0..table.header().len()).map(|i| row.cell(i).len()).sum();
            }
        }
    }

    /// What a spreadsheet would write, quoted where needed, comes back cell by cell.
    #[test]
    fn cells_written_with_quotes_come_back(rows in prop::collection::vec(prop::collection::vec("[a-z\",;#\n ]{0,5}", 3), 1..6)) {
        let quoted = |cell: &String| format!("\"{}\"", cell.replace('"', "\"\""));
        let lines: Vec<String> = rows.iter().map(|row| row.iter().map(quoted).collect::<Vec<_>>().join(";")).collect();
        let table = Table::read("x", format!("a;b;c\n{}", lines.join("\n")).as_bytes(), &LIMITS).unwrap();
        let back: Vec<Vec<String>> = table.rows().map(|row| (0..3).map(|i| row.cell(i).to_string()).collect()).collect();
        let meant: Vec<Vec<String>> = rows.iter().map(|row| row.iter().map(|cell| cell.trim().to_string()).collect()).collect();
        prop_assert_eq!(back, meant);
    }
}
