//! What each piece of the sheets is, for people who read by ear: the structure tree of a tagged PDF (ISO 32000-1, 14.7 and 14.8).
//!
//! In: elements as the flow opens and closes them, and a mark for each piece of content. Out: the tree's objects.
//! A picture is one figure with its description; a heading of a table that is repeated on a further sheet, page numbers and
//! rules are artifacts, which are passed over.
//! Does not claim conformance with PDF/UA.

use pdf_writer::types::{StructRole, TableHeaderScope};
use pdf_writer::{Finish, Name, Pdf, Ref, TextStr};

/// What an element is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Document,
    Title,
    Heading,
    Words,
    Figure,
    Table,
    Row,
    HeadCell,
    Cell,
}

impl Role {
    const fn kind(self) -> StructRole {
        match self {
            Self::Document => StructRole::Document,
            Self::Title => StructRole::H1,
            Self::Heading => StructRole::H2,
            Self::Words => StructRole::P,
            Self::Figure => StructRole::Figure,
            Self::Table => StructRole::Table,
            Self::Row => StructRole::TR,
            Self::HeadCell => StructRole::TH,
            Self::Cell => StructRole::TD,
        }
    }

    /// The tag of its content.
    pub const fn name(self) -> Name<'static> {
        match self {
            Self::Document => Name(b"Document"),
            Self::Title => Name(b"H1"),
            Self::Heading => Name(b"H2"),
            Self::Words => Name(b"P"),
            Self::Figure => Name(b"Figure"),
            Self::Table => Name(b"Table"),
            Self::Row => Name(b"TR"),
            Self::HeadCell => Name(b"TH"),
            Self::Cell => Name(b"TD"),
        }
    }
}

struct Element {
    role: Role,
    parent: Option<usize>,
    /// What a picture shows, in words.
    description: Option<String>,
    children: Vec<Child>,
}

enum Child {
    Element(usize),
    Mark { page: usize, id: i32 },
}

/// The tree as it grows.
pub(super) struct Tags {
    elements: Vec<Element>,
    /// The element that is open, within those before it.
    open: Vec<usize>,
    /// For each page the element of each of its marks.
    marks: Vec<Vec<usize>>,
}

impl Tags {
    pub fn new() -> Self {
        let document =
            Element { role: Role::Document, parent: None, description: None, children: Vec::new() };
        Self { elements: vec![document], open: vec![0], marks: Vec::new() }
    }

    pub fn begin(&mut self, role: Role, description: Option<String>) {
        let parent = self.open.last().copied().unwrap_or(0);
        let index = self.elements.len();
        self.elements.push(Element { role, parent: Some(parent), description, children: Vec::new() });
        self.elements[parent].children.push(Child::Element(index));
        self.open.push(index);
    }

    pub fn end(&mut self) {
        if self.open.len() > 1 {
            self.open.pop();
        }
    }

    /// A new mark of the open element on a page: its tag and number.
    pub fn mark(&mut self, page: usize) -> (Name<'static>, i32) {
        let index = self.open.last().copied().unwrap_or(0);
        if self.marks.len() <= page {
            self.marks.resize_with(page + 1, Vec::new);
        }
        let id = self.marks[page].len() as i32;
        self.marks[page].push(index);
        self.elements[index].children.push(Child::Mark { page, id });
        (self.elements[index].role.name(), id)
    }

    /// Writes the tree from object `first` on; `page` gives a page's object.
    pub fn write(&self, pdf: &mut Pdf, first: i32, page: &dyn Fn(usize) -> Ref) {
        let element = |index: usize| Ref::new(first + 1 + self.marks.len() as i32 + index as i32);
        let list = |page: usize| Ref::new(first + 1 + page as i32);
        let mut root = pdf.indirect(Ref::new(first)).start::<pdf_writer::writers::StructTreeRoot<'_>>();
        root.child(element(0));
        let mut tree = root.parent_tree();
        let mut numbers = tree.nums();
        for index in 0..self.marks.len() {
            numbers.insert(index as i32, list(index));
        }
        numbers.finish();
        tree.finish();
        root.parent_tree_next_key(self.marks.len() as i32);
        root.finish();
        for (index, marks) in self.marks.iter().enumerate() {
            pdf.indirect(list(index)).array().items(marks.iter().map(|one| element(*one)));
        }
        for (index, one) in self.elements.iter().enumerate() {
            let parent = one.parent.map_or(Ref::new(first), &element);
            write_element(pdf, one, [element(index), parent], &element, page);
        }
    }
}

fn write_element(
    pdf: &mut Pdf,
    one: &Element,
    [own, parent]: [Ref; 2],
    element: &dyn Fn(usize) -> Ref,
    page: &dyn Fn(usize) -> Ref,
) {
    let mut written = pdf.struct_element(own);
    written.kind(one.role.kind()).parent(parent);
    if let Some(description) = &one.description {
        written.alt(TextStr(description));
    }
    if one.role == Role::HeadCell {
        written.attributes().push().table().scope(TableHeaderScope::Column);
    }
    let mut children = written.children();
    for child in &one.children {
        match child {
            Child::Element(index) => {
                children.struct_element(element(*index));
            }
            Child::Mark { page: index, id } => {
                children.marked_content_ref().page(page(*index)).marked_content_id(*id);
            }
        }
    }
}
