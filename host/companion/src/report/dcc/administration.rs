//! The first part: who, what, when, where.

use super::refusal::Fault;
use super::xml::{OUR_LANGUAGE, Xml};
use crate::record::certificate::NOT_A_LEGAL_VERIFICATION;
use crate::record::certificate::{
    Certificate, Conformity, Contact, Identification, Issuer, Place, Software, Statement,
};

/// Administrative data.
pub fn write(xml: &mut Xml, certificate: &Certificate) {
    xml.within("dcc:administrativeData", |xml| {
        xml.list(
            "dcc:dccSoftware",
            "dcc:software",
            &certificate.software,
            software,
        );
        core(xml, certificate);
        items(xml, certificate);
        xml.within("dcc:calibrationLaboratory", |xml| {
            xml.leaf_if_any(
                "dcc:calibrationLaboratoryCode",
                certificate.laboratory_code.as_deref(),
            );
            xml.within("dcc:contact", |xml| contact(xml, &certificate.laboratory));
        });
        xml.list(
            "dcc:respPersons",
            "dcc:respPerson",
            &certificate.responsible,
            |xml, person| {
                xml.within("dcc:person", |xml| xml.words("dcc:name", &person.name));
                xml.leaf_if_any("dcc:role", person.role.as_deref());
                xml.leaf("dcc:mainSigner", &person.main_signer.to_string());
            },
        );
        xml.within("dcc:customer", |xml| contact(xml, &certificate.customer));
        xml.within("dcc:statements", |xml| {
            xml.within("dcc:statement", |xml| {
                xml.our_words("dcc:declaration", NOT_A_LEGAL_VERIFICATION);
            });
            xml.each("dcc:statement", &certificate.statements, statement);
        });
    });
}

/// What was calibrated, and whose it is.
fn items(xml: &mut Xml, certificate: &Certificate) {
    xml.within("dcc:items", |xml| {
        if let Some(owner) = &certificate.owner {
            xml.within("dcc:owner", |xml| contact(xml, owner));
        }
        if certificate.items.is_empty() {
            xml.refuse("", Fault::NoEntry);
        }
        xml.each("dcc:item", &certificate.items, |xml, item| {
            xml.words("dcc:name", &item.name);
            xml.words_if_any("dcc:description", item.description.as_deref());
            let parts = &item.software;
            xml.list_if_any("dcc:installedSoftwares", "dcc:software", parts, software);
            xml.within("dcc:manufacturer", |xml| {
                xml.words("dcc:name", &item.manufacturer);
            });
            xml.leaf_if_any("dcc:model", item.model.as_deref());
            xml.list(
                "dcc:identifications",
                "dcc:identification",
                &item.identifications,
                identification,
            );
        });
    });
}

fn core(xml: &mut Xml, certificate: &Certificate) {
    let (began, ended) = (&certificate.began, &certificate.ended);
    xml.within("dcc:coreData", |xml| {
        xml.country("dcc:countryCodeISO3166_1", &certificate.country);
        xml.language("dcc:usedLangCodeISO639_1", &certificate.language);
        if certificate.language != OUR_LANGUAGE {
            xml.language("dcc:usedLangCodeISO639_1", OUR_LANGUAGE);
        }
        xml.language("dcc:mandatoryLangCodeISO639_1", &certificate.language);
        xml.leaf("dcc:uniqueIdentifier", &certificate.identifier);
        xml.list_if_any(
            "dcc:identifications",
            "dcc:identification",
            &certificate.identifications,
            identification,
        );
        if let Some(day) = &certificate.received {
            xml.date("dcc:receiptDate", day);
        }
        xml.date("dcc:beginPerformanceDate", began);
        xml.date("dcc:endPerformanceDate", ended);
        // Days written alike sort as texts do.
        if ended < began {
            let (began, ended) = (began.clone(), ended.clone());
            xml.refuse("dcc:endPerformanceDate", Fault::Order { began, ended });
        }
        let place = match certificate.place {
            Place::Laboratory => "laboratory",
            Place::Customer => "customer",
            Place::LaboratoryBranch => "laboratoryBranch",
            Place::CustomerBranch => "customerBranch",
            Place::Other => "other",
        };
        xml.leaf("dcc:performanceLocation", place);
    });
}

fn software(xml: &mut Xml, software: &Software) {
    xml.words("dcc:name", &software.name);
    xml.leaf("dcc:release", &software.release);
}

/// An identification; also of equipment.
pub fn identification(xml: &mut Xml, identification: &Identification) {
    let issuer = match identification.issuer {
        Issuer::Manufacturer => "manufacturer",
        Issuer::CalibrationLaboratory => "calibrationLaboratory",
        Issuer::Customer => "customer",
        Issuer::Owner => "owner",
        Issuer::Other => "other",
    };
    xml.leaf("dcc:issuer", issuer);
    xml.leaf("dcc:value", &identification.value);
    xml.words_if_any("dcc:name", identification.name.as_deref());
}

fn contact(xml: &mut Xml, contact: &Contact) {
    let address = &contact.address;
    xml.words("dcc:name", &contact.name);
    xml.leaf("dcc:eMail", &contact.e_mail);
    xml.leaf_if_any("dcc:phone", contact.phone.as_deref());
    xml.within("dcc:location", |xml| {
        xml.leaf("dcc:city", &address.city);
        if let Some(code) = &address.country {
            xml.country("dcc:countryCode", code);
        }
        xml.leaf_if_any("dcc:postCode", address.post_code.as_deref());
        xml.leaf_if_any("dcc:street", address.street.as_deref());
        xml.leaf_if_any("dcc:streetNo", address.number.as_deref());
    });
}

fn statement(xml: &mut Xml, statement: &Statement) {
    for norm in &statement.norms {
        xml.leaf("dcc:norm", norm);
    }
    xml.words("dcc:declaration", &statement.declaration);
    if let Some(conformity) = statement.conformity {
        let word = match conformity {
            Conformity::Pass => "pass",
            Conformity::Fail => "fail",
            Conformity::ConditionalPass => "conditionalPass",
            Conformity::ConditionalFail => "conditionalFail",
        };
        xml.leaf("dcc:conformity", word);
    }
}
