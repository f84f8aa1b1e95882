fn main() {
    let w = runtrue::demo::weekend::invent(std::env::args().nth(2).unwrap().parse().unwrap());
    w.write(std::path::Path::new(&std::env::args().nth(1).unwrap())).unwrap();
}
