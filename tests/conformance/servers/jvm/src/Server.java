import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.jpa.provider.JpaSystemProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import java.nio.file.Files;
import java.nio.file.Path;
import org.apache.catalina.Context;
import org.apache.catalina.Wrapper;
import org.apache.catalina.startup.Tomcat;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;

/** A FHIR R4 server at http://localhost:PORT/fhir. Prints that address when it listens; runs until a signal. */
public final class Server {
  private Server() {}

  public static void main(String[] words) throws Exception {
    AnnotationConfigApplicationContext beans = new AnnotationConfigApplicationContext(Settings.class);
    Path place = Files.createTempDirectory("conformance-server");
    Tomcat tomcat = new Tomcat();
    tomcat.setBaseDir(place.toString());
    tomcat.setHostname("localhost");
    tomcat.setPort(0);
    tomcat.getConnector().setProperty("address", "127.0.0.1");
    Context context = tomcat.addContext("", place.toString());
    Wrapper servlet = Tomcat.addServlet(context, "fhir", restful(beans));
    servlet.setLoadOnStartup(1);
    servlet.addMapping("/fhir/*");
    tomcat.start();
    System.out.println("http://localhost:" + tomcat.getConnector().getLocalPort() + "/fhir");
    tomcat.getServer().await();
  }

  private static RestfulServer restful(AnnotationConfigApplicationContext beans) {
    RestfulServer server = new RestfulServer(beans.getBean(FhirContext.class));
    server.registerProviders(beans.getBean("myResourceProvidersR4", ResourceProviderFactory.class).createProviders());
    server.registerProvider(beans.getBean("mySystemProviderR4", JpaSystemProvider.class));
    server.setPagingProvider(beans.getBean(DatabaseBackedPagingProvider.class));
    server.setServerConformanceProvider(new JpaCapabilityStatementProvider(server,
        beans.getBean(IFhirSystemDao.class), beans.getBean(JpaStorageSettings.class),
        beans.getBean(ISearchParamRegistry.class), beans.getBean(IValidationSupport.class)));
    return server;
  }
}
