//! Sessions of the command line, as text files: command, exit code, output.

#[test]
fn sessions_print_what_their_files_say() {
    trycmd::TestCases::new().case("../../tests/sessions/*.trycmd");
}
